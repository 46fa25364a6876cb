"""The life of alarms told a second time, by plain truths instead of arrows from state to state.

Of one alarm: does its condition hold, has somebody seen it, and by which of the three ways is it
held back. States and arrows: ANSI/ISA-18.2-2016 clause 5 and IEC 62682:2014, alarm state transition
diagram (from memory). Of several: what explains what, whose hands they are in, and until when.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import NamedTuple

from kuraban.core.units import HOUR

SHELVED, SUPPRESSED, OUT = "SHLVD", "DSUPR", "OOSRV"


@dataclass
class Life:
    """An alarm by the words of the standard: active, seen, and what holds it back."""

    active: bool = False
    unseen: bool = False
    held: str | None = None

    @property
    def code(self) -> str:
        if self.held is not None:
            return self.held
        if self.active:
            return "UNACK" if self.unseen else "ACKED"
        return "RTNUN" if self.unseen else "NORM"

    def occur(self) -> None:
        if not self.active:
            self.active = True
            self.unseen = self.unseen or self.held is None

    def return_(self) -> None:
        self.active = False

    def return_once(self) -> None:
        """One-shot shelving ends with the first return to normal."""
        if self.held == SHELVED:
            self.active = False
            self.let_go(SHELVED)

    def acknowledge(self) -> None:
        if self.held is None:
            self.unseen = False

    def re_alarm(self) -> None:
        self.unseen = True

    def shelve(self) -> None:
        self._hold(SHELVED, over={None, SHELVED, SUPPRESSED})

    def suppress(self) -> None:
        self._hold(SUPPRESSED, over={None, SUPPRESSED})

    def remove(self) -> None:
        self._hold(OUT, over={None, SHELVED, SUPPRESSED, OUT})

    def _hold(self, way: str, over: set[str | None]) -> None:
        if self.held in over:
            self.held = way

    def let_go(self, way: str) -> None:
        """Back from being held: to unacknowledged or normal, as the condition stands then."""
        if self.held == way:
            self.held, self.unseen = None, self.active


class Kind(NamedTuple):
    """One alarm of a house, what explains it, and how long whoever has it in hand is given."""

    subject: str
    condition: str
    causes: tuple[tuple[str, str], ...] = ()
    turns_within: float | None = None
    deadband: float = 0.3
    rank: int = 0


_FAILS = (("chiller-1", "stopped"), ("chiller-1", "warming"))
_DARK = (("watch", "dark"),)
KINDS = (
    Kind("tank-3", "warm", (), 3 * HOUR, rank=1),
    Kind("tank-3", "far-warm", (), 3 * HOUR, rank=2),
    Kind("tank-3", "trending-warm", _FAILS, 3 * HOUR),
    Kind("tank-3", "unwatched", _DARK),
    Kind("tank-4", "trending-cold", _FAILS, 3 * HOUR),
    Kind("moto-1", "cold", (), HOUR, rank=1),
    Kind("bed-1", "cold", (), HOUR / 2, rank=1),
    Kind("store", "warm", (), 3 * HOUR, rank=1),
    Kind("chiller-1", "stopped", (), HOUR),
    Kind("chiller-1", "warming", (), HOUR),
    Kind("chiller-1", "short-cycling"),
    Kind("t3-mid", "silent", _DARK),
    Kind("t3-mid", "wild"),
    Kind("watch", "dark"),
)


@dataclass
class Standing:
    """One alarm of the house as people would tell of it."""

    kind: Kind
    life: Life = field(default_factory=Life)
    by: str | None = None
    promise: float | None = None
    worse: float | None = None
    worse_when_taken: float | None = None
    shelf: tuple[float, bool] | None = None
    """Until when, and whether it ends with the first return."""
    steps: list[str] = field(default_factory=list)


class Standard:
    """The alarms of a house. `joins` is asked whether a new one shares the hands of another."""

    def __init__(self) -> None:
        self.alarms = {(kind.subject, kind.condition): Standing(kind) for kind in KINDS}

    def of(self, subject: str, condition: str | None = None) -> list[Standing]:
        """The alarms of a subject, the gravest first."""
        found = [
            one
            for one in self.alarms.values()
            if one.kind.subject == subject and condition in (None, one.kind.condition)
        ]
        return sorted(found, key=lambda one: (-one.kind.rank, one.kind.condition))

    def explained(self, one: Standing) -> bool:
        return any(self.alarms[cause].life.active for cause in one.kind.causes)

    def occurs(self, one: Standing, at: float, worse: float | None, joins: bool) -> None:
        if one.life.active:
            self._heard(one, at, worse)
            return
        one.worse, before = worse, one.life.code
        if self.explained(one):
            one.life.active = True
            one.life.suppress()
            self._told(one, before, {SUPPRESSED: "suppressed"})
        else:
            one.life.occur()
            told = "realarmed" if before == "RTNUN" else "raised"
            self._told(one, before, {"UNACK": told})
            self._rings(one, at, before, joins)
        self._explains()

    def _rings(self, one: Standing, at: float, before: str, joins: bool) -> None:
        """Nobody has it; but it may join what somebody has."""
        if one.life.code != "UNACK" or before == "UNACK":
            return
        one.by = one.promise = None
        held = self.in_hand(one) if joins else None
        if held is not None:
            left = None if held.promise is None or held.promise <= at else held.promise - at
            self._takes(one, at, held.by or "", left)
            one.life.acknowledge()
            one.steps.append("acknowledged")

    def in_hand(self, one: Standing) -> Standing | None:
        """The gravest other alarm of its subject that somebody has."""
        others = [other for other in self.of(one.kind.subject) if other is not one]
        return next((other for other in others if other.life.code == "ACKED"), None)

    def _heard(self, one: Standing, at: float, worse: float | None) -> None:
        one.worse = worse
        if one.life.code != "ACKED" or worse is None:
            return
        if one.worse_when_taken is None:
            one.worse_when_taken = worse
        elif worse >= one.worse_when_taken + one.kind.deadband:
            self._again(one)

    def _again(self, one: Standing) -> None:
        one.life.re_alarm()
        one.steps.append("realarmed")
        one.by = one.promise = None

    def returns(self, one: Standing, at: float) -> None:
        if not one.life.active:
            return
        before = one.life.code
        if before == SHELVED and one.shelf is not None and one.shelf[1]:
            one.life.return_once()
            one.shelf = None
            one.steps.append("normal")
        else:
            one.life.return_()
            self._told(one, before, {"RTNUN": "returned", "NORM": "normal"})
        if before == SUPPRESSED:
            one.life.let_go(SUPPRESSED)
            one.steps.append("released")
        self._explains_no_more(at)

    def _explains(self) -> None:
        """What rings and has a cause now is held back."""
        for one in self.alarms.values():
            before = one.life.code
            if before in ("UNACK", "ACKED") and self.explained(one):
                one.life.suppress()
                self._told(one, before, {SUPPRESSED: "suppressed"})

    def _explains_no_more(self, at: float) -> None:
        for one in self.alarms.values():
            if one.life.code == SUPPRESSED and not self.explained(one):
                self._back(one, SUPPRESSED, "released", at)

    def _back(self, one: Standing, way: str, told: str, at: float) -> None:
        """Among those that can ring again, unless something larger explains it."""
        one.life.let_go(way)
        one.steps.append(told)
        if one.life.code == "UNACK" and self.explained(one):
            one.life.suppress()
            one.steps.append("suppressed")
        elif one.life.code == "UNACK":
            one.by = one.promise = None

    def acknowledged(
        self, subject: str, condition: str | None, at: float, by: str, within: float | None
    ) -> None:
        for one in self.of(subject, condition):
            before = one.life.code
            if before == "ACKED" and within is not None:
                one.by, one.promise = by, at + within
            if before == "UNACK":
                self._takes(one, at, by, within)
            one.life.acknowledge()
            self._told(one, before, {"ACKED": "acknowledged", "NORM": "normal"})

    def _takes(self, one: Standing, at: float, by: str, within: float | None) -> None:
        within = one.kind.turns_within if within is None else within
        one.by, one.promise = by, None if within is None else at + within
        one.worse_when_taken = one.worse

    def shelved(self, one: Standing, until: float, once: bool) -> None:
        if one.life.held == OUT:
            return
        one.life.shelve()
        one.shelf = until, once
        one.steps.append("shelved")

    def unshelved(self, one: Standing, at: float) -> None:
        if one.life.held == SHELVED:
            one.shelf = None
            self._back(one, SHELVED, "unshelved", at)

    def out_of_service(self, subject: str) -> None:
        for one in self.of(subject):
            if one.life.code not in ("NORM", OUT):
                one.life.remove()
                one.shelf = None
                one.steps.append("out-of-service")

    def in_service(self, subject: str, at: float) -> None:
        for one in self.of(subject):
            if one.life.held == OUT:
                self._back(one, OUT, "in-service", at)

    def time_is(self, at: float) -> None:
        """Promises that are not kept and shelves that are over by now, each at its time."""
        due = [(one.promise, one) for one in self.alarms.values() if one.promise is not None]
        due += [(one.shelf[0], one) for one in self.alarms.values() if one.shelf is not None]
        for moment, one in sorted(due, key=lambda pair: pair[0]):
            if moment > at:
                break
            if one.shelf is not None and one.shelf[0] == moment:
                self.unshelved(one, moment)
            elif one.promise == moment:
                self._promise_over(one)

    def _promise_over(self, one: Standing) -> None:
        if one.life.code != "ACKED":
            return
        one.promise = None
        worse, before = one.worse, one.worse_when_taken
        if worse is None or before is None or worse >= before - one.kind.deadband / 2:
            self._again(one)

    def _told(self, one: Standing, before: str, steps: dict[str, str]) -> None:
        """The step that goes with the state come to, where it is another one."""
        if one.life.code != before:
            one.steps.append(steps[one.life.code])
