"""A small house for whole engines: readings by the wire's own door, time turned by hand.

Minutes are counted from the start of a test's night. A trace is what a probe says: one value, or a
function of the minute; None is a minute in which the probe says nothing.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

import msgspec

from kuraban.core.effects import Message, Step
from kuraban.core.engine.engine import Engine
from kuraban.core.facts import EntryOutcome, HouseChanged, Reading, Refusal
from kuraban.core.intake.wire import Wire
from kuraban.core.planned_curve import FAR_FUTURE, AirBand, Course, Sides, Stage
from kuraban.core.site import Cooler, Duty, House, Person, Place, Probe, Site, to_document
from kuraban.core.units import HOUR, MINUTE, show_time
from kuraban.core.views.explanation import Account, Because, Delay
from kuraban.settings.catalogues import load_words

ZONE = ZoneInfo("Asia/Tokyo")
EVENING = datetime(2026, 1, 20, 22, tzinfo=ZONE).timestamp()
WORDS = load_words()

Trace = float | Callable[[float], float | None]
NARROW, WIDE = Sides(0.5, 0.5), Sides(1.0, 1.0)


def stage(
    stage_id: str = "moromi", celsius: float = 10.0, *, hours: float = 720, rate: float = 0.0,
    **other: Any,
) -> Stage:  # fmt: skip
    """A stage at one temperature, or one that rises by `rate` K an hour; a slow mash otherwise."""
    end = (hours * HOUR, celsius + rate * hours)
    plain: dict[str, Any] = {
        "length": hours * HOUR, "points": ((0.0, celsius), end), "tolerance": NARROW,
        "notice": Sides(0.3, 0.3), "limit": WIDE, "delay": HOUR, "limit_delay": 20 * MINUTE,
    }  # fmt: skip
    return Stage(id=stage_id, **(plain | other))


def koji(celsius: float = 36.0, stage_id: str = "naka", **other: Any) -> Stage:
    plain = {
        "tolerance": WIDE, "notice": Sides(0.6, 0.6), "limit": Sides(2.0, 2.0),
        "delay": 15 * MINUTE, "limit_delay": 10 * MINUTE,
        "air": AirBand(wet_bulb_depression=(3.0, 7.0)),
    }  # fmt: skip
    return stage(stage_id, celsius, **(plain | other))


def course(*stages: Stage, course_id: str = "mash", never: tuple[float, float] = (3.0, 16.0),
           whither: str = "tank") -> Course:  # fmt: skip
    return Course(id=course_id, for_=(whither,), never=never, stages=stages or (stage(),))


TANK = Place(id="tank", kind="tank", name="Tank 3", room="cellar", litres=1400)
CELLAR = Place(id="cellar", kind="room", name="Cellar")
MID = Probe(id="mid", of="tank", measures="product")
AIR = Probe(id="air", of="cellar", measures="air")
KOJI_COURSE = course(koji(), course_id="koji", never=(20.0, 46.0), whither="koji-bed")


def house(*things: Place | Cooler | Probe, courses: tuple[Course, ...] = (course(),)) -> House:
    """A house of these things, with a brewer, a maintenance man and a crew of one."""
    people = {"aki": "brewer", "ken": "maintenance", "mio": "crew"}
    return House(
        site=Site(name="Nowhere demo brewery", timezone="Asia/Tokyo"),
        places=tuple(thing for thing in things if isinstance(thing, Place)),
        coolers=tuple(thing for thing in things if isinstance(thing, Cooler)),
        probes=tuple(thing for thing in things if isinstance(thing, Probe)),
        people=tuple(Person(id=who, name=who.title(), language="en") for who in people),
        rota=tuple(Duty(role=role, person=who, order=1) for who, role in people.items()),
        courses=courses,
    )


def cellar(*more: Place | Cooler | Probe, stages: tuple[Stage, ...] = (), **tank: Any) -> House:
    """One tank with one probe, in a cellar whose air is measured."""
    place = msgspec.structs.replace(TANK, **tank)
    return house(place, CELLAR, MID, AIR, *more, courses=(course(*stages),))


class Night:
    """One engine, its messages and its clock."""

    def __init__(self, home: House, start: float = EVENING) -> None:
        self.start, self.minute = start, 0.0
        self.engine = Engine(WORDS)
        self.wire = Wire(home)
        self.home = home
        self.story: list[Step | Message] = []
        self.readings: list[Reading] = []
        self.refused: list[Refusal | EntryOutcome] = []
        self.count = 0
        self.engine.take(HouseChanged(start, to_document(home)))

    @property
    def view(self) -> Any:
        return self.engine.view

    def moment(self, minute: float) -> str:
        return show_time(self.start + 60 * minute, ZONE)

    def send(self, topic: str, payload: str, retained: bool = False) -> None:
        at = self.start + 60 * self.minute
        for fact in self.wire.read(f"kura/{topic}", payload.encode(), at, retained):
            self.engine.take(fact)

    def hear(self, probe: str, value: float) -> None:
        self.send(f"reading/{probe}", f"{float(value)!r}".removesuffix(".0"))

    def log(self, subject: str, entry: str, at: float | None = None, **fields: object) -> None:
        """Somebody writes it down now; `at` and other minutes are counted as everywhere here."""
        self.count += 1
        for name in ("since", "by_minute"):
            if name in fields:
                fields[name] = self.moment(float(str(fields[name])))
        if "by_minute" in fields:
            fields["by"] = fields.pop("by_minute")
        if "within" in fields:
            fields["for"] = fields.pop("within")
        stamp = {} if at is None else {"at": self.moment(at)}
        body = {"entry": entry, "id": f"w{self.count}", **stamp, **fields}
        self.send(f"log/{subject}", msgspec.json.encode(body).decode())
        refused = len(self.refused)
        self.listen()
        assert self.refused[refused:] == [], "what a test logs must fit its house"

    def batch(self, place: str = "tank", course: str = "mash", stage: str | None = None,
              since: float = -600) -> None:  # fmt: skip
        named = {} if stage is None else {"stage": stage}
        self.log(place, "batch-start", batch=f"No. 7 {place}", course=course, since=since, **named)

    def rehang(self, probe: Probe, of: str) -> None:
        """The site file is changed: this probe hangs elsewhere."""
        probes = (msgspec.structs.replace(probe, of=of), *self.home.probes)
        self.home = msgspec.structs.replace(
            self.home, probes=tuple({one.id: one for one in reversed(probes)}.values())
        )
        self.wire = Wire(self.home)
        self.engine.take(HouseChanged(self.start + 60 * self.minute, to_document(self.home)))

    def play(self, until: float, **traces: Trace) -> Night:
        """Let the named probes speak, each in its own rhythm, up to and without that minute."""
        home = self.home.probe
        while self.minute < until:
            for probe, trace in traces.items():
                if self.minute % (home[probe].every / 60) == 0:
                    value = trace(self.minute) if callable(trace) else trace
                    if value is not None:
                        self.hear(probe, value)
            self.minute += 1
        self.engine.wake(self.start + 60 * self.minute)
        self.listen()
        return self

    def listen(self) -> None:
        turn = self.engine.drain()
        self.story += turn.story
        self.readings += [fact for fact in turn.facts if isinstance(fact, Reading)]
        self.refused += [
            fact
            for fact in turn.facts
            if isinstance(fact, Refusal)
            or (isinstance(fact, EntryOutcome) and fact.fate == "refused")
        ]

    def steps(self, alarm: str) -> list[tuple[float, str]]:
        """Minute and name of every step of an alarm."""
        return [
            ((step.at - self.start) / 60, step.step)
            for step in self.story
            if isinstance(step, Step) and step.alarm == alarm
        ]

    def raised(self, alarm: str) -> list[float]:
        """Minutes at which it was raised, or raised again."""
        again = ("raised", "realarmed", "released")
        return [minute for minute, step in self.steps(alarm) if step in again]

    def over(self, alarm: str) -> list[float]:
        """Minutes at which what it tells came to an end."""
        return [minute for minute, step in self.steps(alarm) if step in ("returned", "normal")]

    def alarms(self) -> set[str]:
        """Everything that was raised so far."""
        return {
            step.alarm for step in self.story if isinstance(step, Step) and step.step == "raised"
        }

    def stands(self, alarm: str) -> bool:
        return tuple(alarm.split("/")) in self.view.standing

    def evidence(self, alarm: str) -> tuple[str, ...]:
        subject, condition = alarm.split("/")
        found: tuple[str, ...] = self.engine.alarm_manager.alarm(subject, condition).evidence
        return found

    def why(self, alarm: str) -> list[str]:
        """What the watch answers now, a line for each reason; none where it is not judged. Moments
        and lengths of time are in minutes, `none` and what a reason leaves out are not named."""
        subject, condition = alarm.split("/")
        found = [
            account
            for _, detector in self.engine.registry.about.get(subject, ())
            for account in detector.explain(self.engine.now)
            if account.condition == condition
        ]
        return [line for account in found for line in self._lines(account)]

    def _lines(self, account: Account) -> list[str]:
        lines = ["stands"] if account.stands else []
        for part in ("seen", "lacks", "ends"):
            lines += [f"{part}: {self._line(one)}" for one in getattr(account, part)]
        if account.delay is not None:
            lines.append(f"delay: {self._line(account.delay)}")
        return lines

    def _line(self, one: Because | Delay) -> str:
        fields = one._asdict()
        words = [str(fields.pop("key"))] if "key" in fields else []
        for name, value in fields.items():
            if name in ("since", "until", "due") and value is not None:
                value = "ever" if value >= FAR_FUTURE else (value - self.start) / 60
            elif name in ("lasted", "wanted", "spent") and value is not None:
                value /= 60
            if isinstance(value, float):
                value = f"{value:.4g}"
            if value is not None and (name, value) != ("unit", "°C"):
                words.append(f"{name}={value}")
        return " ".join(words)

    def messages(self, alarm: str | None = None) -> list[Message]:
        told = [message for message in self.story if isinstance(message, Message)]
        return told if alarm is None else [m for m in told if alarm in m.alarms]

    def pages(self, alarm: str) -> list[Message]:
        return [message for message in self.messages(alarm) if message.step == "page"]


def ramp(start: float, an_hour: float, since: float = 0.0) -> Callable[[float], float]:
    """Level until `since`, then rising by so many K an hour."""
    return lambda minute: start + an_hour * max(minute - since, 0.0) / 60


def step(before: float, after: float, at: float, until: float = 1e9) -> Callable[[float], float]:
    """One value, another from a minute on, and perhaps the first again."""
    return lambda minute: after if at <= minute < until else before


def saw(
    middle: float, height: float, period: float, phase: float = 0.0
) -> Callable[[float], float]:
    """The saw-tooth of on/off cooling: a slow rise, a fall in a quarter of the time; K, minutes."""

    def at(minute: float) -> float:
        turn = ((minute + phase) % period) / period
        share = turn / 0.8 if turn < 0.8 else (1 - turn) / 0.2
        return middle + height * (share - 0.5)

    return at


def noisy(trace: Trace, sigma: float = 0.02, seed: int = 1) -> Callable[[float], float]:
    """With Gaussian noise, in steps of a sixteenth as digital probes give."""
    lot = random.Random(seed)

    def at(minute: float) -> float:
        value = trace(minute) if callable(trace) else trace
        assert value is not None
        return round((value + lot.gauss(0, sigma)) * 16) / 16

    return at
