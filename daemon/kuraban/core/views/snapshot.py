"""What somebody who looks is shown: the watch at one moment, in structures that never change.

The loop that judges makes a picture and hands it over; whoever looks holds the picture and never
touches the watch. Times are the watch's own (`kuraban.core.timescale`), Unix seconds; temperatures
°C, rates °C an hour, pairs (below, above).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from kuraban.core.timescale import Pieces
from kuraban.core.views.equipment_views import BedNow, CoolerNow, HoursLeft, KojiRoom

Word = Literal[
    "as-planned", "little-warm", "little-cold", "warm", "cold", "far-warm", "far-cold", "in-band",
    "unknown",
]  # fmt: skip
"""Where a product stands against its plan, or an air against its band."""
Going = Literal["up", "down", "level"]
Text = dict[str, str]
"""A text by language."""
Point = tuple[float, float]
"""Time and degrees."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ProbeNow:
    """`value` is filtered; `trouble` are conditions that hold, whether they ring or not."""

    id: str
    measures: str
    value: float | None = None
    at: float | None = None
    trouble: tuple[str, ...] = ()
    out: bool = False
    """Somebody took it out of its product."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StageAhead:
    """`due` is when the course expects that the crew begins it, None where it begins by itself."""

    id: str
    title: Text
    due: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """A stage of a batch from `start` to `end`, None while the crew decides, with its tolerance."""

    stage: str
    title: Text
    start: float
    end: float | None
    below: float
    above: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanLine:
    """A plan as straight lines between points; two points of one moment are a step.

    `first` is the course before any re-drawing, empty where nothing was re-drawn.
    """

    points: tuple[Point, ...]
    first: tuple[Point, ...] = ()
    stretches: tuple[Stretch, ...] = ()

    def at(self, moment: float) -> float | None:
        """Degrees of the plan in force; None outside of what is drawn."""
        before: Point | None = None
        for at, celsius in self.points:
            if at > moment:
                if before is None:
                    return None
                share = (moment - before[0]) / (at - before[0])
                return before[1] + share * (celsius - before[1])
            before = at, celsius
        return before[1] if before is not None and before[0] == moment else None

    def just_before(self, moment: float) -> float | None:
        """The same where the line comes from: at a step the degrees before it."""
        step = next((celsius for at, celsius in self.points if at == moment), None)
        return self.at(moment) if step is None else step


@dataclass(frozen=True, slots=True, kw_only=True)
class Leaving:
    """On its way out: earliest and latest hours until it passes the edge that comes next."""

    side: Literal["warm", "cold"]
    edge: Literal["tolerance", "limit"] = "tolerance"
    soonest: float
    latest: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchNow:
    """The batch that runs in a place; `stage_title` and `title` are what people call them."""

    name: str
    title: str | None
    course: str
    since: float
    stage: str
    stage_title: Text
    stage_since: float
    stage_due: float | None
    """When the course expects the next stage, None after the last."""
    ahead: tuple[StageAhead, ...] = ()
    ends: float | None = None
    """When its course would end, as it stands."""
    day: int | None = None
    """Moromi day, where the course counts them."""
    hours: float = 0.0
    tolerance: tuple[float, float] = (0.0, 0.0)
    limit: tuple[float, float] = (0.0, 0.0)
    plan: PlanLine


@dataclass(frozen=True, slots=True, kw_only=True)
class PlaceNow:
    """One place of the house, judged or not."""

    id: str
    name: str
    kind: str
    brews: bool = False
    why: str | None = None
    """Why it is not judged, a `why.` key of the catalogue; None where it is."""
    word: Word = "unknown"
    product: float | None = None
    """The product, or the air or water of a place with a band."""
    at: float | None = None
    last: Point | None = None
    """What was measured there last, while nothing measures it now."""
    planned: float | None = None
    difference: float | None = None
    """From plan, or beyond the band."""
    band: tuple[float, float] | None = None
    rate: float | None = None
    rates: tuple[float, float] | None = None
    """Lowest and highest rate that its readings allow."""
    going: Going | None = None
    leaving: Leaving | None = None
    held: str | None = None
    """Why it is not judged for the moment, a `why.` key of the catalogue."""
    held_until: float | None = None
    doubts: tuple[tuple[float, float], ...] = ()
    """From when to when, of late, nothing that was measured was its product."""
    last_stir: float | None = None
    last_work: tuple[str, float] | None = None
    batch: BatchNow | None = None
    ended: tuple[str, float] | None = None
    """The batch that ran here last, and when it ended."""
    probes: tuple[ProbeNow, ...] = ()
    cooler: str | None = None
    cooler_fails: str | None = None
    """The condition of its cooler that leaves it without one now, answered or not."""
    foreseen: bool = False
    """Its readings tell where it is going, so that no leaving means that none is in sight."""
    hours: HoursLeft | None = None
    """How long it has if its cooling stopped now."""

    @property
    def is_mash(self) -> bool:
        """It is stirred: a starter, or a mash and no pressed sake, whose course counts no days."""
        batch = self.batch
        return batch is not None and (
            self.kind == "starter" or (self.kind == "tank" and batch.day is not None)
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Ring:
    """One alarm on the list, as the life-cycle table names its state."""

    subject: str
    condition: str
    name: str
    """What people call the subject."""
    urgency: str
    state: str
    title: Text
    body: Text
    side: str = ""
    place: str | None = None
    """The place that it is about, or on whose probe."""
    value: float | None = None
    since: float | None = None
    over: float | None = None
    """When it was over by itself."""
    raised: float | None = None
    by: str | None = None
    until: float | None = None
    """By when it should be right, or until when it is quiet."""
    within: float | None = None
    """Seconds in which it should be right once somebody has it and says nothing else."""
    once: bool = False
    """Quiet only until it has returned to normal, if that is sooner."""
    reason: str | None = None
    """Why it is quiet, as somebody put it."""

    @property
    def id(self) -> str:
        return f"{self.subject}/{self.condition}"

    @property
    def open(self) -> bool:
        """Nobody has answered it."""
        return self.state in ("unacknowledged", "returned")

    @property
    def held_back(self) -> bool:
        return self.state in ("shelved", "suppressed", "out-of-service")


@dataclass(frozen=True, slots=True, kw_only=True)
class OnDuty:
    """Whom a role's alarm would ring now, in order, by the ids of people."""

    role: str
    people: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Unconfirmed:
    """An entry that would stop the watch over a batch, and counts once a second person confirms.

    `stage` is named by an entry of a stage alone; `until` is when it falls away.
    """

    id: str
    subject: str
    name: str
    """What people call the subject."""
    entry: str
    at: float
    until: float
    by: str | None = None
    stage: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Snapshot:
    """Everything that is shown of the watch. `at` is the moment up to which it has judged."""

    at: float
    site: str
    day_turned: float
    """When this brewery day began."""
    day_turns: float
    places: tuple[PlaceNow, ...] = ()
    rings: tuple[Ring, ...] = ()
    duty: tuple[OnDuty, ...] = ()
    awake: tuple[str, ...] = ()
    """People who work awake now."""
    note: tuple[str, str | None, float] | None = None
    """The handover note: its text, who wrote it, and when."""
    impaired: tuple[tuple[str, float], ...] = ()
    """Parts of the watch that fail, as conditions, and since when."""
    rooms: tuple[KojiRoom, ...] = ()
    """Rooms with koji beds."""
    beds: tuple[BedNow, ...] = ()
    """Beds with a lot in them."""
    coolers: tuple[CoolerNow, ...] = ()
    unconfirmed: tuple[Unconfirmed, ...] = ()
    entries: int = 0
    """How many entries were taken so far: another number says that a page of before is old."""
    clock: Pieces = ()
    """How far the wall clock is ahead of the times here."""

    def place(self, place: str) -> PlaceNow | None:
        return next((one for one in self.places if one.id == place), None)

    def bed(self, place: str) -> BedNow | None:
        return next((one for one in self.beds if one.place == place), None)

    def cooler(self, cooler: str) -> CoolerNow | None:
        return next((one for one in self.coolers if one.id == cooler), None)

    def ring(self, subject: str, condition: str) -> Ring | None:
        return next(
            (r for r in self.rings if r.subject == subject and r.condition == condition), None
        )

    def left(self, ring: Ring) -> float | None:
        """Hours until what the ring is about gets worse, the pessimistic end; None if unknown."""
        if ring.condition.startswith("far-"):
            return 0.0
        cooler, place = self.cooler(ring.subject), self.place(ring.place or "")
        if cooler is not None:
            known = [one.hours.soonest for one in cooler.served if one.judged and one.hours]
            return min((hours for hours in known if hours is not None), default=None)
        leaving = None if place is None or not ring.side else place.leaving
        return leaving.soonest if leaving is not None and leaving.side == ring.side else None

    @property
    def ringing(self) -> int:
        """Rings that nobody has answered."""
        return sum(ring.state == "unacknowledged" for ring in self.rings)

    def unconfirmed_of(self, subject: str) -> tuple[Unconfirmed, ...]:
        return tuple(one for one in self.unconfirmed if one.subject == subject)

    def rings_of(self, place: str) -> tuple[Ring, ...]:
        return tuple(ring for ring in self.rings if ring.place == place)
