"""Two batches day by day beside each other, counted from soe or from tome.

The other may be the batch's own course, as it was before anybody drew it anew, or the middle of the
house's best: a batch is one of these because somebody who tasted it marked it, never by reckoning.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from statistics import median
from typing import Literal

from kuraban.core.facts import Logged
from kuraban.core.planned_curve import Line
from kuraban.core.units import DAY, HOUR
from kuraban.core.views.batch_sheet import BatchSheet, BatchStay, SheetDay
from kuraban.core.views.snapshot import PlanLine

Origin = Literal["soe", "tome"]
Measure = Literal["morning", "baume", "smv", "bmd", "alcohol"]
MEASURES: tuple[Measure, ...] = ("morning", "baume", "smv", "bmd", "alcohol")
YEAR = 365 * DAY
SEASON_APART = (300 * DAY, 430 * DAY)
"""From when to when before it a batch of last season began that bears the same number."""


@dataclass(frozen=True, slots=True)
class DayPair:
    """What both were on a day; `number` is counted as people count it, without a day 0."""

    number: int
    one: SheetDay | None
    other: SheetDay | None

    def values(self, measure: Measure) -> tuple[float | None, float | None]:
        one, other = (
            None if day is None else getattr(day, measure) for day in (self.one, self.other)
        )
        return one, other

    def apart(self, measure: Measure) -> float | None:
        """How far the one is from the other; None where either is not known."""
        one, other = self.values(measure)
        return None if one is None or other is None else one - other

    def added(self) -> tuple[tuple[Logged, ...], tuple[Logged, ...]]:
        one, other = (() if day is None else day.work for day in (self.one, self.other))
        return one, other


def counted(day: SheetDay, origin: Origin) -> int | None:
    return day.number if origin == "soe" else day.day


def begins(sheet: BatchSheet, origin: Origin) -> float | None:
    """The turn of the brewery day that is counted as the first; None where none is."""
    return next((day.at for day in sheet.days if counted(day, origin) == 1), None)


def pairs(one: BatchSheet, other: BatchSheet, origin: Origin) -> tuple[DayPair, ...]:
    """Every day that either has, in order."""
    both = [
        {number: day for day in sheet.days if (number := counted(day, origin)) is not None}
        for sheet in (one, other)
    ]
    numbers = sorted({*both[0], *both[1]})
    return tuple(DayPair(number, both[0].get(number), both[1].get(number)) for number in numbers)


def course_of(sheet: BatchSheet) -> BatchSheet:
    """A batch as its course had it: its temperatures alone."""
    line = PlanLine(points=sheet.plan.first or sheet.plan.points)
    days = tuple(
        SheetDay(
            at=day.at, number=day.number, place=day.place, day=day.day, stages=day.stages,
            morning=line.at(day.at) if line.at(day.at) is not None else line.at(day.at + HOUR),
        )
        for day in sheet.days
    )  # fmt: skip
    return replace(sheet, days=days, measured=line.points, zero=None, corrected=None)


def series(sheet: BatchSheet, measure: Measure | Literal["aim"], origin: Origin) -> Line:
    """A measure by the number of its day, as far as it is known."""
    found = ((counted(day, origin), getattr(day, measure)) for day in sheet.days)
    return tuple((float(n), value) for n, value in found if n is not None and value is not None)


Band = tuple[float, float, float]
"""The number of a day, and from least to most what these had on it."""


def band(sheets: Iterable[BatchSheet], measure: Measure, origin: Origin) -> list[Band]:
    return [(n, min(found), max(found)) for n, found in _by_day(sheets, measure, origin)]


def _by_day(
    sheets: Iterable[BatchSheet], measure: Measure, origin: Origin
) -> list[tuple[float, list[float]]]:
    found: dict[float, list[float]] = {}
    for sheet in sheets:
        for number, value in series(sheet, measure, origin):
            found.setdefault(number, []).append(value)
    return sorted(found.items())


def middle_of(one: BatchSheet, best: Sequence[BatchSheet], origin: Origin) -> BatchSheet:
    """The best as if they were one batch: on each day the median of each measure."""
    start = begins(one, origin) or one.stay.since
    middle = {
        measure: {n: median(values) for n, values in _by_day(best, measure, origin)}
        for measure in MEASURES
    }
    days = tuple(
        SheetDay(
            at=start + (number - (number > 0)) * DAY, number=int(number), day=int(number),
            place=one.stay.place, morning=middle["morning"].get(number),
            baume=middle["baume"].get(number), bmd=middle["bmd"].get(number),
            alcohol=middle["alcohol"].get(number),
        )
        for number in sorted({n for values in middle.values() for n in values})
    )  # fmt: skip
    measured = tuple((day.at, day.morning) for day in days if day.morning is not None)
    return replace(one, days=days, measured=measured, step=DAY, zero=None, corrected=None)


def ran_at(stays: tuple[BatchStay, ...], moment: float) -> list[BatchStay]:
    """What stood somewhere at a moment."""
    return [one for one in stays if one.start <= moment and (one.end is None or moment < one.end)]


def likely(stay: BatchStay, others: list[BatchStay]) -> BatchStay | None:
    """What somebody would lay beside it first: the same number last season, else the last of its
    course, else the last of all. `others` are those that fit, the newest first."""
    for other in others:
        apart = stay.since - other.since
        if other.name == stay.name and SEASON_APART[0] <= apart <= SEASON_APART[1]:
            return other
    earlier = [one for one in others if one.since < stay.since]
    alike = [one for one in earlier if one.course == stay.course]
    return next(iter(alike or earlier or others), None)
