"""The links in messages, and who presses their buttons: late, twice, long after, or with a forged
one. What a link is still good for is asked of the page itself (`kuraban.edges.web.views`).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from random import Random
from types import SimpleNamespace
from typing import Any, Protocol, cast

from kuraban.core.facts import Logged
from kuraban.core.intake.entry_parser import entry_from
from kuraban.edges.phones.courier import Courier
from kuraban.edges.phones.links import Act
from kuraban.edges.signing import Link, Signer, entry_id
from kuraban.edges.web.page_context import PageContext
from kuraban.edges.web.views import answer_links
from kuraban.queries.snapshot import Painter
from kuraban.runtime.outside import Outside
from kuraban.runtime.watch import Watch
from tests.core.house import words
from tests.simulation.machine import Machine
from tests.simulation.phones import PUBLIC, Rung

HALF_A_DAY = 12 * 3600.0
MINUTE = 60.0


@dataclass(frozen=True)
class Pressed:
    """The button of a link, at a moment of true time; `state` is what the page made of it."""

    at: float
    link: Link | None
    state: str
    life: int
    """Of the watch."""


class Brewery(Protocol):
    """What is asked of a season."""

    machine: Machine
    end: float

    @property
    def watch(self) -> Watch | None: ...
    @property
    def journal(self) -> Path: ...
    @property
    def number_of_life(self) -> int: ...


class WithLinks(Outside):
    """As the watch has it, where the house has a public address."""

    make: Callable[[str, str, str, Act, float], str]

    def courier(self, settings: Any, rows: Any, report: Any, link: Any, curves: Any) -> Courier:
        return super().courier(settings, rows, report, self.make, curves)


class Answers:
    def __init__(self, season: Brewery, likely: float) -> None:
        self._season, self._likely = season, likely
        self._signer = Signer("the simulation's own key")
        self.made: set[Link] = set()
        self.pressed: list[Pressed] = []

    def make(self, subject: str, condition: str, person: str, act: Act, at: float) -> str:
        link = Link(subject, condition, person, act, at)
        self.made.add(link)
        return PUBLIC + self._signer.link(link)

    def outside(self, *parts: Any) -> Outside:
        found = WithLinks(*parts)
        object.__setattr__(found, "make", self.make)
        return found

    def heard(self, rung: Rung, chance: Random) -> None:
        """Somebody whose phone rang opens a link of the message, perhaps."""
        if not rung.tokens or chance.random() >= self._likely:
            return
        token, later = chance.choice(rung.tokens), chance.uniform(1.0, 25.0) * MINUTE
        whose = self._signer.read_link(token)
        times = [rung.at + later]
        if chance.random() < 0.4:
            times.append(times[0] + chance.choice((0.2, 2.0, 90.0, 3000.0)))
        if chance.random() < 0.4 and whose is not None:
            times.append(rung.at + HALF_A_DAY + chance.choice((5.0, 600.0)))
        if chance.random() < 0.2:
            token = token[:-3] + ("AAA" if token[-3:] != "AAA" else "BBB")
        for at in times:
            self._season.machine.at(at, lambda: self._press(token))

    def _press(self, token: str) -> None:
        season = self._season
        watch, now = season.watch, season.machine.now
        if season.machine.awake_at > now:
            return  # a machine that is suspended serves no page
        if watch is None or not watch.engine.started or now > season.end - 5 * MINUTE:
            return
        house = watch.engine.view.house
        snapshot = Painter(words()).snapshot(watch.engine)
        context = cast(PageContext, SimpleNamespace(
            house=house, hub=SimpleNamespace(snapshot=snapshot), clock=watch.clock,
            history=season.journal, signer=self._signer,
        ))  # fmt: skip
        link = self._signer.read_link(token)
        state, _ = answer_links._state(context, link)
        self.pressed.append(Pressed(now, link, state, season.number_of_life))
        if link is not None and state == "ready":
            fields = answer_links._fields(context, link, "right", None)
            made = entry_from(fields, link.subject, house, watch.clock(), "link", link.person)
            if isinstance(made, Logged):
                watch.submit(made)


def id_of(link: Link) -> str:
    """Of the entry that it makes."""
    return entry_id(link)
