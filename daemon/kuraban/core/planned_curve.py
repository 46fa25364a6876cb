"""The planned temperature curve: a course as the house wrote it, and the plan as it is in force.

A course is a list of stages. Within a stage the curve runs straight between points of (elapsed,
degrees) and level after the last. Elapsed counts from the stage's start (`mark`) or from the turn
of the brewery day in which it started (`day`). A stage ends when the crew logs the next one
(`crew`) or by itself after its length and its hold (`clock`).

The plan in force is the course laid on the stage marks of one batch, then re-drawn by the brewer:
each aim runs straight from the plan of its moment to its degrees, and the course goes on shifted,
unshifted, or level. A shift goes along when a stage ends by the clock and ends when the crew logs
a stage, since an addition lands where the recipe says, not where yesterday's mash stood.
"""

from __future__ import annotations

from bisect import bisect_right
from datetime import datetime, timedelta, tzinfo
from typing import Literal, NamedTuple

import msgspec

from kuraban.core.timescale import moment_of
from kuraban.core.units import MINUTE, brewery_day, day_turn

NEVER = (-273.15, 1000.0)
FAR_FUTURE = 1e12


class Sides(msgspec.Struct, frozen=True):
    """Degrees allowed below and above the plan."""

    below: float
    above: float


SCALDS = 45.0
"""°C from which on what is in a tank scalds."""


class AirBand(msgspec.Struct, frozen=True):
    """Band of the room's air around a koji bed, in K of depression or % RH; one of the two."""

    wet_bulb_depression: tuple[float, float] | None = None
    humidity: tuple[float, float] | None = None


class Stage(msgspec.Struct, frozen=True, kw_only=True):
    id: str
    title: dict[str, str] = {}
    length: float
    points: tuple[tuple[float, float], ...]
    settle: float = 0.0
    ends: Literal["crew", "clock"] = "crew"
    anchor: Literal["mark", "day"] = "mark"
    tolerance: Sides
    notice: Sides
    limit: Sides
    delay: float
    limit_delay: float
    air: AirBand | None = None

    @property
    def scalds(self) -> bool:
        """A heating, or the filling of a hot starter."""
        return max(celsius for _, celsius in self.points) >= SCALDS

    def course_at(self, elapsed: float) -> float:
        """Degrees of the curve `elapsed` seconds into the stage; level outside its points."""
        points = self.points
        if elapsed <= points[0][0]:
            return points[0][1]
        if elapsed >= points[-1][0]:
            return points[-1][1]
        after = bisect_right(points, (elapsed, FAR_FUTURE))
        (t0, v0), (t1, v1) = points[after - 1], points[after]
        return v0 + (v1 - v0) * (elapsed - t0) / (t1 - t0)


Line = tuple[tuple[float, float], ...]


class Target(msgspec.Struct, frozen=True, kw_only=True):
    """Lines that the house draws for its samples. Nothing is judged by them."""

    by_alcohol: Line = ()
    """% ABV and Baume."""
    bmd: Line = ()
    """Moromi day and BMD."""


class Course(msgspec.Struct, frozen=True, kw_only=True):
    id: str
    for_: tuple[str, ...] = msgspec.field(name="for", default=("tank",))
    title: dict[str, str] = {}
    day_one: str | None = None
    never: tuple[float, float] = NEVER
    target: Target | None = None
    stages: tuple[Stage, ...]

    def index(self, stage: str) -> int | None:
        """Position of a stage by its id, None if the course has none of that name."""
        for place, candidate in enumerate(self.stages):
            if candidate.id == stage:
                return place
        return None


class Mark(NamedTuple):
    """A stage (by its position in the course) that began at `since`, as logged."""

    stage: int
    since: float
    hold: float = 0.0
    """Extension of this stage beyond its length, seconds."""
    logged: bool = True
    """The crew logged it; False where it began by the clock and was only held longer."""


class Span(NamedTuple):
    """One stretch of a batch in one stage: [start, end), `end` far away if the crew decides."""

    stage: int
    start: float
    end: float
    anchor: float
    """The moment from which elapsed counts."""
    due: float
    """When the course expects the next stage."""
    logged: bool


class Redraw(NamedTuple):
    """The brewer's new plan: straight lines through `points` from `at` on, then `then`."""

    at: float
    points: tuple[tuple[float, float], ...]
    then: str


def spans_of(
    course: Course, marks: tuple[Mark, ...], day_starts: float, zone: tzinfo
) -> tuple[Span, ...]:
    """The stretches of stages that the marks give, those that end by the clock laid between."""
    spans: list[Span] = []
    ordered = sorted(marks, key=lambda mark: mark.since)
    for position, mark in enumerate(ordered):
        until = ordered[position + 1].since if position + 1 < len(ordered) else FAR_FUTURE
        stage, start, hold, logged = mark
        while start < until and stage < len(course.stages):
            shape = course.stages[stage]
            anchor = start if shape.anchor == "mark" else day_turn(start, day_starts, zone)
            due = _due(shape, anchor, shape.length + hold, zone)
            end = min(until, due) if shape.ends == "clock" else until
            spans.append(Span(stage, start, max(end, start), anchor, due, logged))
            stage, start, hold, logged = stage + 1, max(end, start), 0.0, False
    return tuple(spans)


def _due(stage: Stage, anchor: float, length: float, zone: tzinfo) -> float:
    """When a stage has run its length; one that counts days ends at a turn of the day.

    Where clocks change, a day of the wall clock may have 23 or 25 hours.
    """
    if stage.anchor == "mark":
        return anchor + length
    wall = datetime.fromtimestamp(anchor, zone) + timedelta(seconds=length)
    return moment_of(wall.timestamp(), zone)


class Standing(NamedTuple):
    """Where a batch stands at one moment."""

    span: Span
    stage: Stage


class Planned:
    """The plan of one batch in one place: degrees at any time, and the stage in force.

    `ended` is True after the last stage ended by the clock. Times before the first mark are
    answered as the first mark's own.
    """

    def __init__(
        self,
        course: Course,
        marks: tuple[Mark, ...],
        redraws: tuple[Redraw, ...],
        day_starts: float,
        zone: tzinfo,
    ) -> None:
        self.course = course
        self.day_starts = day_starts
        self.zone = zone
        self._standing: Standing | None = None
        self.spans = spans_of(course, marks, day_starts, zone)
        self._starts = [span.start for span in self.spans]
        self._redraws = self._lay(sorted(redraws, key=lambda redraw: redraw.at))
        self._redrawn = [redraw.at for redraw, _ in self._redraws]
        self._knots = self._bends()
        self._piece = (0.0, 0.0, 0.0, 0.0)

    def _lay(self, redraws: list[Redraw]) -> list[tuple[Redraw, float]]:
        """Each redraw with the shift that it leaves behind, the earlier ones already laid."""
        laid: list[tuple[Redraw, float]] = []
        self._redraws, self._redrawn = laid, []
        for redraw in redraws:
            start = self._at(redraw.at)
            line = Redraw(redraw.at, ((redraw.at, start), *redraw.points), redraw.then)
            arrived, celsius = line.points[-1]
            laid.append((line, celsius - self.first(arrived)))
            self._redrawn.append(redraw.at)
        return laid

    def standing(self, at: float) -> Standing:
        """The stage in force at a time."""
        known = self._standing
        if known is None or not known.span.start <= at < known.span.end:
            span = self.spans[max(bisect_right(self._starts, at) - 1, 0)]
            known = self._standing = Standing(span, self.course.stages[span.stage])
        return known

    def elapsed(self, at: float) -> float:
        """How far in the stage is, seconds."""
        return at - self.standing(at).span.anchor

    def ended(self, at: float) -> bool:
        return at >= self.spans[-1].end

    def first(self, at: float) -> float:
        """Degrees of the course itself, before any re-drawing: the first plan."""
        return self.standing(at).stage.course_at(self.elapsed(at))

    def at(self, at: float) -> float:
        """Degrees of the plan in force at a time."""
        start, until, celsius, slope = self._piece
        if not start <= at < until:
            after = bisect_right(self._knots, at)
            if after == 0:
                return self._at(at)
            start = self._knots[after - 1]
            until, celsius, slope = self.line(start)
            self._piece = start, until, celsius, slope
        return celsius + slope * (at - start)

    def _at(self, at: float) -> float:
        position = bisect_right(self._redrawn, at) - 1
        if position < 0:
            return self.first(at)
        redraw, shift = self._redraws[position]
        if self._stage_logged_between(redraw.at, at):
            return self.first(at)
        return self._drawn(redraw, shift, at)

    def _drawn(self, redraw: Redraw, shift: float, at: float) -> float:
        points = redraw.points
        if at < points[-1][0]:
            after = bisect_right(points, (at, FAR_FUTURE))
            (t0, v0), (t1, v1) = points[after - 1], points[after]
            return v0 + (v1 - v0) * (at - t0) / (t1 - t0)
        if redraw.then == "level":
            return points[-1][1]
        return self.first(at) + (shift if redraw.then == "shift" else 0.0)

    def _stage_logged_between(self, after: float, until: float) -> bool:
        for span in reversed(self.spans):
            if span.start <= after:
                return False
            if span.start <= until and span.logged:
                return True
        return False

    def line(self, at: float) -> tuple[float, float, float]:
        """(until, degrees at `at`, degrees a second) of the straight piece that holds `at`."""
        after = bisect_right(self._knots, at)
        until = self._knots[after] if after < len(self._knots) else FAR_FUTURE
        here = self._at(at)
        near = min(until, at + 86400.0)
        middle = (at + near) / 2
        return until, here, (self._at(middle) - here) / max(middle - at, 1e-3)

    def _bends(self) -> list[float]:
        """Every moment at which the plan in force bends or jumps."""
        knots: set[float] = set()
        for span in self.spans:
            knots.add(span.start)
            for elapsed, _ in self.course.stages[span.stage].points:
                if span.start < span.anchor + elapsed < span.end:
                    knots.add(span.anchor + elapsed)
        for redraw, _ in self._redraws:
            knots.update(moment for moment, _ in redraw.points)
        return sorted(knots)

    def slope(self, at: float, ahead: float = 30 * MINUTE) -> float:
        """Degrees an hour that the plan in force moves from `at` on."""
        return (self.at(at + ahead) - self.at(at)) / ahead * 3600.0

    def day(self, at: float) -> int | None:
        """The moromi day: 1 is the brewery day of `day_one`; the days before are -1, -2, ...

        None where the course names no first day. Before that stage is logged its day is
        expected from the lengths of the stages between.
        """
        if self.course.day_one is None:
            return None
        first = self.course.index(self.course.day_one)
        if first is None:
            return None
        begins = self.begins(first)
        day = brewery_day(at, self.day_starts, self.zone)
        days = (day - brewery_day(begins, self.day_starts, self.zone)).days
        return days + 1 if days >= 0 else days

    def begins(self, stage: int) -> float:
        """When a stage, by its number, began or is expected by the lengths of those before it.

        The number after the last asks for the end of the course.
        """
        for span in self.spans:
            if span.stage == stage:
                return span.start
        last = self.spans[-1]
        if last.stage > stage:
            between = self.course.stages[stage : self.spans[0].stage]
            return self.spans[0].start - sum(skipped.length for skipped in between)
        between = self.course.stages[last.stage + 1 : stage]
        return last.due + sum(skipped.length for skipped in between)
