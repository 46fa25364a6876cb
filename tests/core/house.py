"""A small house at night, driven by hand: readings minute by minute, entries, and what it told.

Two tanks, a starter, a koji bed, a store with a band, a chiller and a heater, and five people. Time
goes only where a test turns it.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from functools import cache
from typing import Any
from zoneinfo import ZoneInfo

import msgspec

from kuraban.core.detectors.base import Finding
from kuraban.core.effects import Message, Step
from kuraban.core.engine.engine import Engine
from kuraban.core.facts import (
    ClockStepped,
    EntryOutcome,
    Fact,
    HouseChanged,
    Impaired,
    Logged,
    Reading,
    Record,
    Refusal,
)
from kuraban.core.intake.entry_parser import entry_from
from kuraban.core.intake.wire import Wire
from kuraban.core.planned_curve import FAR_FUTURE, Course, Sides, Stage
from kuraban.core.site import Cooler, Duty, House, Person, Place, Probe, Site, to_document
from kuraban.core.texts.messages import Words
from kuraban.core.units import DAY, HOUR, MINUTE
from kuraban.settings.catalogues import load_words

TOKYO = ZoneInfo("Asia/Tokyo")


def moment(text: str) -> float:
    return datetime.fromisoformat(text).replace(tzinfo=TOKYO).timestamp()


DUSK = moment("2026-02-01T18:00")
"""A Sunday evening in the season."""


def stage(
    name: str, length: float, *points: tuple[float, float], tolerance: float = 0.5,
    limit: float = 1.0, delay: float = HOUR, limit_delay: float = 20 * MINUTE, settle: float = 0.0,
    ends: Any = "crew", anchor: Any = "mark",
) -> Stage:  # fmt: skip
    return Stage(
        id=name, length=length, points=points, settle=settle, ends=ends, anchor=anchor,
        tolerance=Sides(tolerance, tolerance), notice=Sides(0.3, 0.3), limit=Sides(limit, limit),
        delay=delay, limit_delay=limit_delay,
    )  # fmt: skip


MASH = Course(
    id="mash",
    for_=("tank",),
    day_one="tome",
    never=(3.0, 16.0),
    stages=(
        stage("naka", DAY, (0.0, 9.0)),
        stage("tome", 2 * DAY, (0.0, 10.0), settle=3 * HOUR),
        stage("main", 20 * DAY, (0.0, 10.0)),
        stage("last", 5 * DAY, (0.0, 8.0), (5 * DAY, 6.0), ends="clock"),
    ),
)
KOJI = Course(
    id="koji",
    for_=("koji-bed",),
    never=(20.0, 46.0),
    stages=(
        stage("hikikomi", DAY, (0.0, 32.0), tolerance=1.0, limit=2.0, delay=10 * MINUTE,
              limit_delay=10 * MINUTE),
        stage("naka-shigoto", DAY, (0.0, 38.0), tolerance=1.0, limit=2.0, delay=10 * MINUTE,
              limit_delay=10 * MINUTE),
    ),
)  # fmt: skip
STARTER = Course(
    id="moto", for_=("starter",), stages=(stage("utase", 9 * DAY, (0.0, 12.0), delay=30 * MINUTE),)
)
PEOPLE = tuple(
    Person(id=name, name=name.capitalize(), language="ja" if name == "bun" else "en")
    for name in ("aki", "bun", "cho", "dai", "ken")
)
ROTA = (
    Duty(role="brewer", person="aki", order=1),
    Duty(role="brewer", person="bun", order=2),
    Duty(role="maintenance", person="ken", order=1),
    Duty(role="crew", person="dai", order=1),
)
AWAKE = Duty(
    role="crew", person="cho", order=2, hours=(22 * HOUR, 6 * HOUR), awake=True
)  # fmt: skip
"""Cho works this night, beside whoever else is on the rota."""


def brewery(*more: Duty, rota: tuple[Duty, ...] = ROTA, site: Site | None = None) -> House:
    """The house with its rota, or another one, and further lines of it."""
    return House(
        site=site or Site(name="Nowhere demo brewery", timezone="Asia/Tokyo"),
        places=(
            Place(id="tank-3", kind="tank", name="Tank 3", cooler="chiller-1"),
            Place(id="tank-4", kind="tank", name="Tank 4", cooler="chiller-1"),
            Place(id="moto-1", kind="starter", name="Starter 1"),
            Place(id="bed-1", kind="koji-bed", name="Koji bed 1", heater="heater-1"),
            Place(id="bed-2", kind="koji-bed", name="Koji bed 2", heater="heater-1"),
            Place(id="store", kind="cold-store", name="Koji store", band=(1.0, 8.0)),
        ),
        coolers=(
            Cooler(id="chiller-1", kind="chilled-water", name="Chiller 1", service="Ken, ext. 12"),
            Cooler(id="chiller-2", kind="chilled-water", name="Chiller 2"),
            Cooler(id="heater-1", kind="heater", name="Koji heater"),
        ),
        probes=(
            Probe(id="t3-mid", of="tank-3", measures="product"),
            Probe(id="t4-mid", of="tank-4", measures="product"),
            Probe(id="m1-mid", of="moto-1", measures="product"),
            Probe(id="b1-mid", of="bed-1", measures="product"),
            Probe(id="s-air", of="store", measures="air"),
        ),
        people=PEOPLE,
        rota=(*rota, *more),
        courses=(MASH, KOJI, STARTER),
    )


@cache
def words() -> Words:
    return load_words()


Told = float | Callable[[float], float] | None
"""What a probe says: a value, one that depends on the time, or nothing."""


class Night:
    """An engine and a clock that a test turns. `told` holds what each probe says every minute."""

    def __init__(self, house: House | None = None, at: float = DUSK) -> None:
        self.house = house or brewery()
        self.engine = Engine(words())
        self.wire = Wire(self.house)
        self.now = self.began = at
        self.ahead = 0.0
        self.told: dict[str, Told] = {}
        self.facts: list[Record] = []
        self.story: list[Step | Message] = []
        self.withdrawn: list[tuple[int, str]] = []
        self.conflicts = 0
        self.serial = 0
        self.take(HouseChanged(at, to_document(self.house)))

    # What goes in.

    def take(self, fact: Fact) -> None:
        self.engine.take(fact)
        self._drained()

    def _drained(self) -> None:
        turn = self.engine.drain()
        self.facts += turn.facts
        self.withdrawn += [(len(self.story) + before, alarm) for before, alarm in turn.withdrawn]
        self.story += turn.story
        self.conflicts += turn.conflicts

    def in_hand(self) -> list[str]:
        """The alarms whose pages were taken back."""
        return [alarm for _, alarm in self.withdrawn]

    def change(self, house: House) -> None:
        self.house, self.wire = house, Wire(house)
        self.take(HouseChanged(self.now, to_document(house)))

    def put_forward(self, by: float) -> Night:
        """Somebody puts the wall clock `by` seconds forward, now."""
        self.ahead += by
        self.take(ClockStepped(self.now, by, self.ahead, self.began))
        self.wire.stepped(self.ahead, self.now)
        self.house = self.wire.house = self.engine.view.house
        return self

    def unwatched(self, until: float) -> Night:
        """Nobody watches from now `until` a moment."""
        self.take(Impaired("watch", True, self.now))
        self.now = until
        self.take(Impaired("watch", False, until))
        return self

    def say(self, probe: str, payload: str | float, *, retained: bool = False) -> None:
        """One message of a probe, as it comes from the broker now."""
        for fact in self.wire.read(f"kura/reading/{probe}", str(payload).encode(), self.now,
                                   retained):  # fmt: skip
            self.take(fact)

    def log(self, subject: str, entry: str, **fields: Any) -> str:
        """An entry made now; its id. What the door itself refuses fails the test."""
        self.serial += 1
        members = {"id": f"e{self.serial}", **fields, "entry": entry}
        if "for_" in members:
            members["for"] = members.pop("for_")
        logged = entry_from(members, subject, self.house, self.now, "page")
        assert isinstance(logged, Logged), logged
        self.take(logged)
        return logged.id

    def run(self, minutes: float) -> Night:
        """Turn the clock on, every probe speaking once a minute as `told` says."""
        until = self.now + minutes * MINUTE
        while self.now + MINUTE <= until:
            self.now += MINUTE
            for probe, told in self.told.items():
                value = told(self.now) if callable(told) else told
                if value is not None:
                    wiggle = 0.0 if callable(told) else 0.02 * (int(self.now / MINUTE) % 2)
                    self.take(Reading(probe, self.now, value + wiggle, self.now))
        self.now = until
        self.wake(until)
        return self

    def wake(self, at: float) -> None:
        self.now = at
        self.engine.wake(at)
        self._drained()

    # What came out.

    def steps(self, alarm: str | None = None) -> list[str]:
        """The steps of one alarm, or of all as "tank-3/warm raised"."""
        found = [event for event in self.story if isinstance(event, Step)]
        if alarm is None:
            return [f"{step.alarm} {step.step}" for step in found]
        return [step.step for step in found if step.alarm == alarm]

    def step(self, alarm: str, name: str) -> Step:
        """The latest such step; the test fails where there is none."""
        found = [event for event in self.story if isinstance(event, Step)
                 and (event.alarm, event.step) == (alarm, name)]  # fmt: skip
        assert found, f"{alarm} was never {name}: {self.steps()}"
        return found[-1]

    def messages(self, step: str, person: str | None = None) -> list[Message]:
        return [event for event in self.story if isinstance(event, Message)
                and event.step == step and person in (None, event.person)]  # fmt: skip

    def pages(self, person: str | None = None) -> list[Message]:
        return self.messages("page", person)

    def rings(self, since: float = 0.0) -> list[tuple[float, str]]:
        """(minutes after `since`, person) of every page."""
        return [(round((page.at - since) / MINUTE, 4), page.person) for page in self.pages()
                if page.at >= since]  # fmt: skip

    def refusals(self) -> list[str]:
        """Why messages, and entries that came to nothing, were refused."""
        return [
            fact.reason
            for fact in self.facts
            if isinstance(fact, Refusal)
            or (isinstance(fact, EntryOutcome) and fact.fate == "refused")
        ]

    def fates(self, entry: str) -> list[str]:
        """What became of an entry, one thing after the other."""
        outcomes = [fact for fact in self.facts if isinstance(fact, EntryOutcome)]
        return [outcome.fate for outcome in outcomes if outcome.id == entry]

    def outcome(self, entry: str) -> EntryOutcome:
        """How it stands; the test fails where nothing was decided."""
        outcomes = [fact for fact in self.facts if isinstance(fact, EntryOutcome)]
        return [outcome for outcome in outcomes if outcome.id == entry][-1]


class Bell(Night):
    """A night in which only the test finds anything: the detectors are sent home."""

    def __init__(self, house: House | None = None, at: float = DUSK) -> None:
        super().__init__(house, at)
        self._send_home()

    def _send_home(self) -> None:
        self.engine.registry.detectors.clear()
        self.engine.registry.about.clear()
        while self.engine.timers.next() < FAR_FUTURE:
            self.engine.timers.pop()

    def in_hand(self) -> list[str]:
        """The alarms whose pages were taken back."""
        return [alarm for _, alarm in self.withdrawn]

    def change(self, house: House) -> None:
        """Where a batch runs and nothing is measured, the alarms stay as they are."""
        super().change(house)
        self._send_home()

    def find(
        self, subject: str, condition: str, holds: bool = True, *, worse: float | None = None,
        value: float | None = None, since: float | None = None,
    ) -> None:  # fmt: skip
        """A detector's finding, now."""
        self.engine.wake(self.now)
        self.engine.watched.conclusions.take(
            Finding(subject, condition, holds, self.now, value, None, since, (), worse)
        )
        self._drained()

    def over(self, subject: str, condition: str) -> None:
        self.find(subject, condition, False)

    def on(self, minutes: float) -> Bell:
        """Turn the clock on."""
        self.wake(self.now + minutes * MINUTE)
        return self


def brewing(bell: Bell) -> Bell:
    """A batch in both tanks and in a koji bed."""
    for place, course in (("tank-3", "mash"), ("tank-4", "mash"), ("bed-1", "koji")):
        bell.log(place, "batch-start", batch=place, course=course)
    return bell


def mashing(house: House | None = None, at: float = DUSK) -> Night:
    """Both tanks in their main mash at 10 °C as planned, the store as it should be."""
    night = Night(house, at)
    for tank in ("tank-3", "tank-4"):
        night.log(tank, "batch-start", batch=tank[-1], course="mash", stage="main")
    night.told = {"t3-mid": 10.0, "t4-mid": 10.0, "s-air": 5.0}
    return night


def with_rota(house: House, *rota: Duty) -> House:
    return msgspec.structs.replace(house, rota=rota)
