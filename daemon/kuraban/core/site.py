"""The house as the watch knows it: places, coolers, probes, people, the rota, and the courses.

`House` is what the site file and the course files come to once they were read and found right
(`kuraban.settings` does that). It is kept in the journal as JSON, so it holds no secret: people's
addresses stay with the courier.
"""

from __future__ import annotations

from datetime import tzinfo
from functools import cached_property
from typing import Literal
from zoneinfo import ZoneInfo

import msgspec

from kuraban.core.planned_curve import Course
from kuraban.core.timescale import Pieces, Timescale
from kuraban.core.units import HOUR, MINUTE

PlaceKind = Literal["tank", "starter", "koji-bed", "room", "cold-store", "water"]
CoolerKind = Literal["chilled-water", "cold-room", "built-in", "heater"]
Measure = Literal[
    "product", "air", "wet-bulb", "humidity", "supply", "return", "power", "running", "demand",
    "valve", "pump",
]  # fmt: skip
Language = Literal["en", "ja"]

SIGNALS: frozenset[str] = frozenset({"running", "demand", "valve", "pump"})
"""Measures that are a truth value."""
TEMPERATURES: frozenset[str] = frozenset({"product", "air", "wet-bulb", "supply", "return"})

Draught = Literal["fan", "natural", "still"]
"""The air past a wick."""
Scale = Literal["°C", "K", "°F"]
"""In which degrees a probe is told."""
BREWING: frozenset[str] = frozenset({"tank", "starter", "koji-bed"})
"""Kinds of place in which a batch can run."""
WATCH = "watch"
"""The subject that stands for the site and the daemon itself."""


class Place(msgspec.Struct, frozen=True, kw_only=True):
    id: str
    kind: PlaceKind
    name: str
    litres: float | None = None
    height: float | None = None
    """cm inside, bottom to rim."""
    dip: tuple[tuple[float, float], ...] | None = None
    """cm from the rim down to the surface, and the litres in it then."""
    room: str | None = None
    cooler: str | None = None
    heater: str | None = None
    band: tuple[float, float] | None = None
    delay: float = 30 * MINUTE

    @property
    def brews(self) -> bool:
        return self.kind in BREWING


def check_counts(kind: str) -> float:
    """So long a check by hand stands for the product of a place of that kind, s."""
    return 1 * HOUR if kind == "koji-bed" else 4 * HOUR


class Cooler(msgspec.Struct, frozen=True, kw_only=True):
    id: str
    kind: CoolerKind
    name: str
    rated_watts: float | None = None
    band: tuple[float, float] | None = None
    delay: float = 15 * MINUTE
    service: str | None = None
    brine: bool = False

    @property
    def heats(self) -> bool:
        return self.kind == "heater"


class Probe(msgspec.Struct, frozen=True, kw_only=True):
    id: str
    of: str
    measures: Measure
    every: float = MINUTE
    offset: float = 0.0
    calibrated: str | None = None
    """The day of its last ice-point check, "2025-10-01"."""
    topic: str | None = None
    pointer: str | None = None
    at_pointer: str | None = None
    dry_below: float | None = None
    """Litres in its place below which its tip hangs above the surface."""
    unit: Scale | None = None
    """The degrees in which its bare numbers are sent; None: °C, or what it measures in."""
    factor: float = 1.0
    """What one of them is worth: 0.1 where a bus sends whole tenths."""
    draught: Draught | None = None
    """Past a wick; None: still, as the air of a closed room."""

    @property
    def silent_after(self) -> float:
        """Seconds without a reading after which the probe no longer answers."""
        return max(10 * self.every, 10 * MINUTE)


class Person(msgspec.Struct, frozen=True, kw_only=True):
    id: str
    name: str
    language: Language


class Duty(msgspec.Struct, frozen=True, kw_only=True):
    role: str
    person: str
    order: int
    days: tuple[str, ...] = ()
    hours: tuple[float, float] | None = None
    """Seconds after midnight, from and to; may cross midnight."""
    awake: bool = False


class Shift(msgspec.Struct, frozen=True, kw_only=True):
    """One stretch of duty, [start, end) by the wall clock, written out from a house's calendar."""

    role: str
    person: str
    order: int
    start: float
    end: float
    awake: bool = False


class Away(msgspec.Struct, frozen=True, kw_only=True):
    """A stretch, [start, end) by the wall clock, in which a person needs `arrive` seconds to get
    here."""

    person: str
    start: float
    end: float
    arrive: float


class Swap(msgspec.Struct, frozen=True, kw_only=True):
    """Two people exchange their duties of one day, "2026-02-01", in one role or in all."""

    first: str
    second: str
    day: str
    role: str | None = None


class Site(msgspec.Struct, frozen=True, kw_only=True):
    name: str
    timezone: str
    language: Language = "en"
    day_starts: float = 6 * HOUR
    duty_hours: tuple[float, float] = (6 * HOUR, 21 * HOUR)
    evening: float = 20.5 * HOUR
    rounds: tuple[float, ...] = ()
    """When each stir round of the day begins."""
    late_after: float = 10 * MINUTE
    ladder: tuple[float, ...] = (0.0, 10 * MINUTE, 30 * MINUTE, 60 * MINUTE)
    """When each rung is climbed, seconds from the first: mash and coolers."""
    quick_ladder: tuple[float, ...] = (0.0, 5 * MINUTE, 10 * MINUTE, 20 * MINUTE)
    """The same for koji, starter, heaters and what is past its limit."""

    @property
    def zone(self) -> ZoneInfo:
        return ZoneInfo(self.timezone)


class House(msgspec.Struct, frozen=True, kw_only=True, dict=True):
    site: Site
    places: tuple[Place, ...] = ()
    coolers: tuple[Cooler, ...] = ()
    probes: tuple[Probe, ...] = ()
    people: tuple[Person, ...] = ()
    rota: tuple[Duty, ...] = ()
    shifts: tuple[Shift, ...] = ()
    away: tuple[Away, ...] = ()
    swaps: tuple[Swap, ...] = ()
    """Entered by the crew; the site file knows none."""
    courses: tuple[Course, ...] = ()
    managers: tuple[str, ...] = ()
    """Accounts of the pages that manage: what they enter waits for nobody."""
    clock: Pieces = ()
    """How far the wall clock is ahead of the watch's time; the watch's own, as the swaps are."""

    @cached_property
    def place(self) -> dict[str, Place]:
        return {place.id: place for place in self.places}

    @cached_property
    def cooler(self) -> dict[str, Cooler]:
        return {cooler.id: cooler for cooler in self.coolers}

    @cached_property
    def probe(self) -> dict[str, Probe]:
        return {probe.id: probe for probe in self.probes}

    @cached_property
    def person(self) -> dict[str, Person]:
        return {person.id: person for person in self.people}

    @cached_property
    def course(self) -> dict[str, Course]:
        return {course.id: course for course in self.courses}

    @cached_property
    def zone(self) -> tzinfo:
        """What tells the wall clock's time of the watch's (`kuraban.core.timescale`)."""
        return Timescale(self.site.zone, self.clock) if self.clock else self.site.zone

    @cached_property
    def hanging(self) -> dict[str, tuple[Probe, ...]]:
        """The probes of each place and cooler."""
        found: dict[str, list[Probe]] = {}
        for probe in self.probes:
            found.setdefault(probe.of, []).append(probe)
        return {subject: tuple(probes) for subject, probes in found.items()}

    def probes_of(self, subject: str, *measures: str) -> tuple[Probe, ...]:
        """Probes that hang on a place or cooler, of the named measures or of any."""
        hanging = self.hanging.get(subject, ())
        if not measures:
            return hanging
        return tuple(probe for probe in hanging if probe.measures in measures)

    def person_called(self, who: str | None) -> Person | None:
        """The person whom an entry names by id or by name."""
        if who is None or who in self.person:
            return None if who is None else self.person[who]
        return next((person for person in self.people if person.name == who), None)

    def called(self, who: str) -> str:
        """What people call whoever an entry names: by name where it names one of the house."""
        person = self.person_called(who)
        return who if person is None else person.name

    def name_of(self, subject: str) -> str:
        """What people call a place, cooler or probe."""
        for table in (self.place, self.cooler):
            if subject in table:
                return table[subject].name
        if subject in self.probe:
            return f"{self.name_of(self.probe[subject].of)} ({subject})"
        return self.site.name if subject == WATCH else subject


def to_document(house: House) -> str:
    """The house as the JSON text that the journal keeps."""
    return msgspec.json.encode(house).decode()


def from_document(document: str) -> House:
    """A house from its journal text; msgspec.ValidationError if it is none."""
    return msgspec.json.decode(document, type=House)
