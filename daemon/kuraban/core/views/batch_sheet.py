"""Batches as people look back on them: where each stood, and its sheet, a row for every day.

A sheet is a working record of temperatures and samples. It is not the book that the tax office
asks for. Times are Unix seconds, temperatures °C, days are moromi days as the course counts them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

from kuraban.core.facts import Logged
from kuraban.core.planned_curve import Target
from kuraban.core.views.batch_way import Stood, Way
from kuraban.core.views.snapshot import PlanLine, Point, Text
from kuraban.trade.density import ZeroDay


@dataclass(frozen=True, slots=True)
class Question:
    """What is asked back about a number before it is kept: a key of the catalogue, its fields."""

    key: str
    fields: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposal:
    """For the aim of tomorrow morning, `at`: the plan's °C there and `celsius` instead, the same
    where it may stay. `why` is a key of the catalogue, with its fields. Nothing is applied."""

    at: float
    planned: float
    celsius: float
    why: str
    facts: tuple[tuple[str, float], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchStay:
    """A batch in one place from `start` to `end`, None while it runs there.

    `since` is when the batch began, wherever that was; stage, day and hours are those of now, or
    of the end.
    """

    place: str
    name: str
    title: str | None
    course: str
    course_title: Text
    since: float
    start: float
    end: float | None
    stage: str
    stage_title: Text
    stage_since: float
    day: int | None
    hours: float
    rice_kg: float | None = None
    ahead: tuple[Text, ...] = ()
    """Stages that had not begun."""
    ends: float | None = None
    """When its course would end, as it stands."""
    came_from: str | None = None
    went_to: str | None = None
    best: bool = False
    """Somebody marked it as one of the house's best."""

    @property
    def key(self) -> int:
        """Tells the stays in one place apart, in an address."""
        return int(self.start)


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetDay:
    """One brewery day, from `at` on. `number` counts from 1, `day` is the moromi day."""

    at: float
    number: int
    place: str
    day: int | None = None
    stages: tuple[Text, ...] = ()
    """The stage of the morning, and those that began in the day."""
    aim: float | None = None
    morning: float | None = None
    evening: float | None = None
    room: float | None = None
    baume: float | None = None
    """At 15 °C where the sample's own temperature was noted."""
    alcohol: float | None = None
    acidity: float | None = None
    amino: float | None = None
    bmd: float | None = None
    face: tuple[str, ...] = ()
    cooled: float | None = None
    """Hours with its valve open; None where nothing tells."""
    work: tuple[Logged, ...] = ()
    stirs: int = 0

    @property
    def smv(self) -> float | None:
        return None if self.baume is None else -10 * self.baume


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchSheet:
    """A batch day by day. `morning` and `evening` are seconds after midnight, by the wall clock."""

    stay: BatchStay
    morning: float
    evening: float
    days: tuple[SheetDay, ...]
    plan: PlanLine
    measured: tuple[Point, ...]
    step: float
    """Seconds between two measured points."""
    zero: ZeroDay | None = None
    """The moromi day on which Baume reaches zero."""
    corrected: str | None = None
    """What was added that made the forecast start anew."""
    target: Target | None = None
    """The lines that the house draws now."""
    proposed: Proposal | None = None
    """For tomorrow's aim, of a batch that runs."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DayAhead:
    """The turn of a brewery day to come, and what the plan has for it."""

    at: float
    day: int | None
    planned: float
    first: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Ahead:
    """A plan for days to come: as it is in force, and as it would be with `drawn` in it."""

    days: tuple[DayAhead, ...]
    plan: PlanLine
    drawn: PlanLine | None = None
    questions: tuple[Question, ...] = ()


class Archive(Protocol):
    """What can be asked of the batches of a house, from any thread.

    Every question raises JournalError where the journal cannot be read.
    """

    def stays(self) -> tuple[BatchStay, ...]:
        """Every stay that is known, the newest first."""

    def sheet(self, place: str, key: int) -> BatchSheet | None:
        """The sheet of the batch whose stay in a place began in the second `key`."""

    def best(self, stay: BatchStay) -> tuple[BatchSheet, ...]:
        """The house's best of the same course, but for this batch: those that were marked and are
        over, the newest few."""

    def way(self, batch: str) -> Way:
        """What went into a batch and where it went, walked both ways."""

    def stood(self, place: str) -> Stood | None:
        """What stands in a place, of pressed sake with its warmth; at most an hour old."""

    def sample(self, logged: Logged) -> tuple[Question, ...]:
        """What is to be asked about an analysis in the light of those before it."""

    def ahead(self, place: str, days: int, points: tuple[Point, ...]) -> Ahead | None:
        """The plan of a place's batch for so many days, and with `points` drawn into it."""
