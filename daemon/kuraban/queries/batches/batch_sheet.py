"""The batches of a house from its journal: the list, each one's sheet, and plans drawn anew.

The product of the morning is the median of the hour from the turn of the brewery day, that of the
evening the median of the hour eleven hours on (common practice: 6 and 17 o'clock). The room is
that of the morning. What a probe said while it measured no product is left out of all. The valve's
open time counts between two of its readings at most as long as a silent probe is waited for.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import timedelta
from itertools import pairwise
from pathlib import Path
from statistics import median
from threading import Lock

import msgspec

from kuraban.core import entries as e
from kuraban.core.facts import Logged
from kuraban.core.plan.subject_state import Batch
from kuraban.core.site import House
from kuraban.core.units import DAY, HOUR, MINUTE, at_clock, brewery_day, day_turn
from kuraban.core.views.batch_sheet import (
    Ahead,
    BatchSheet,
    BatchStay,
    DayAhead,
    Question,
    SheetDay,
)
from kuraban.core.views.batch_way import Stood, Way
from kuraban.core.views.snapshot import Point
from kuraban.queries.batches.batch_history import BatchHistory, Stay
from kuraban.queries.batches.batch_way import stood_of, way_of
from kuraban.queries.batches.believed_readings import BelievedReadings
from kuraban.queries.batches.progress import Sampled, progress, proposed
from kuraban.queries.batches.replanning import redrawn, redrawn_questions
from kuraban.queries.entries.sample_plausibility import asked_of_sample
from kuraban.queries.snapshot import line_of
from kuraban.store.archive import WholeHistory
from kuraban.store.history import History

EVENING = 11 * HOUR
LONGEST = 120 * DAY
SAMPLES_BACK = 5 * DAY
MOST_BEST = 5
"""So many of the best are laid beside a batch."""
STEP = 30 * MINUTE
"""Between two points of a sheet's curve."""
SHOWN = (
    e.StageMark, e.Hold, e.Aim, e.Plan, e.Addition, e.CaskIn, e.Note, e.Move, e.Split, e.Merge,
    e.ServedBy, e.BatchEnd, e.Press, e.LetRun, e.Handwork,
)  # fmt: skip
"""Entries that stand among the remarks of a day."""


class Batches:
    """Answers about the batches behind the journal at `path`; safe in any thread."""

    def __init__(self, house: House, path: Path) -> None:
        self._path = path
        self._lock = Lock()
        self._batch_history = BatchHistory(house)
        self._stood: dict[str, tuple[Batch, float, Stood]] = {}

    @contextmanager
    def _caught_up(self) -> Iterator[History]:
        history = WholeHistory(self._path)
        try:
            with self._lock:
                self._batch_history.catch_up(history)
                yield history
        finally:
            history.close()

    def stays(self) -> tuple[BatchStay, ...]:
        with self._caught_up() as history:
            now = history.now() or 0.0
            every = [stay for stays in self._batch_history.stays.values() for stay in stays]
            marks = [self._batch_history.is_best(stay) for stay in every]
            told = [told_of(stay, now, best) for stay, best in zip(every, marks, strict=True)]
        return tuple(sorted(told, key=lambda stay: stay.start, reverse=True))

    def sheet(self, place: str, key: int) -> BatchSheet | None:
        with self._caught_up() as history:
            stays = self._batch_history.stays.get(place, [])
            stay = next((one for one in stays if int(one.start) == key), None)
            if stay is None:
                return None
            best = self._batch_history.is_best(stay)
            return sheet_of(history, self._batch_history.house, stay, history.now() or 0.0, best)

    def best(self, stay: BatchStay) -> tuple[BatchSheet, ...]:
        with self._caught_up() as history:
            known, now = self._batch_history, history.now() or 0.0
            marked = [
                one
                for stays in known.stays.values()
                for one in stays
                if one.batch.course.id == stay.course and one.ended(now) is not None
                and (one.place, int(one.start)) != (stay.place, stay.key) and known.is_best(one)
            ]  # fmt: skip
            newest = sorted(marked, key=lambda one: one.start)[-MOST_BEST:]
            return tuple(sheet_of(history, known.house, one, now, True, False) for one in newest)

    def way(self, batch: str) -> Way:
        with self._caught_up() as history:
            known = self._batch_history
            return way_of(history, known, known.house, batch, history.now() or 0.0)

    def stood(self, place: str) -> Stood | None:
        with self._caught_up() as history:
            now, stays = history.now() or 0.0, self._batch_history.stays.get(place, [])
            if not stays or stays[-1].ended(now) is not None:
                return None
            kept = self._stood.get(place)
            if kept is None or kept[0] is not stays[-1].batch or now - kept[1] > HOUR:
                found = stood_of(history, self._batch_history.house, stays[-1], now)
                kept = self._stood[place] = (stays[-1].batch, now, found)
            return kept[2]

    def sample(self, logged: Logged) -> tuple[Question, ...]:
        sample = logged.entry
        if not isinstance(sample, e.Sample):
            return ()
        history = History(self._path)
        try:
            told = history.counting(logged.subject, logged.at - SAMPLES_BACK, logged.at)
            earlier = [(one.at, one.entry) for one in told if isinstance(one.entry, e.Sample)]
        finally:
            history.close()
        return tuple(asked_of_sample(sample, logged.at, earlier))

    def ahead(self, place: str, days: int, points: tuple[Point, ...]) -> Ahead | None:
        with self._caught_up() as history:
            now = history.now() or 0.0
            stays = self._batch_history.stays.get(place, [])
            if not stays or stays[-1].ended(now) is not None:
                return None
            return ahead_of(self._batch_history.house, place, stays[-1].batch, now, days, points)


def told_of(stay: Stay, now: float, best: bool = False) -> BatchStay:
    """A stay as it stands now, or as it stood at its end."""
    batch, end = stay.batch, stay.ended(now)
    at = now if end is None else end - 1.0
    standing = batch.plan.standing(at)
    later = batch.course.stages[standing.span.stage + 1 :]
    return BatchStay(
        place=stay.place,
        name=batch.name,
        title=batch.title,
        course=batch.course.id,
        course_title=batch.course.title or {"en": batch.course.id},
        since=batch.since,
        start=stay.start,
        end=end,
        stage=standing.stage.id,
        stage_title=standing.stage.title or {"en": standing.stage.id},
        stage_since=standing.span.start,
        day=batch.plan.day(at),
        hours=(at - batch.begun[0]) / HOUR,
        rice_kg=batch.rice_kg,
        ahead=tuple(stage.title or {"en": stage.id} for stage in later),
        ends=batch.plan.begins(len(batch.course.stages)),
        came_from=None if stay.before is None else stay.before.place,
        went_to=stay.to,
        best=best,
    )


def sheet_of(
    history: History, house: House, stay: Stay, now: float, best: bool = False, curve: bool = True
) -> BatchSheet:
    """The whole batch, the places from which it came included; without its `curve` the days alone,
    since a curve reads every reading."""
    end = stay.ended(now)
    until = now if end is None else end
    since = max(stay.batch.since, until - LONGEST)
    stretches = list(_stretches(stay, since, until))
    told = _told(history, stay.place, stretches)
    believed = BelievedReadings(history, stretches[0][1], until)
    found = progress(house, told, stay.batch, until)
    measured = [
        point
        for place, start, stop in (stretches if curve else ())
        for point in _curve(believed, house, place, start, stop)
    ]
    drawn = house.course.get(stay.batch.course.id, stay.batch.course)
    target = drawn.target
    ends = min(until if end is not None else now + 2 * DAY, stay.batch.plan.spans[-1].end)
    return BatchSheet(
        stay=told_of(stay, now, best),
        morning=house.site.day_starts,
        evening=(house.site.day_starts + EVENING) % DAY,
        days=tuple(_days(believed, house, stay.batch, stretches, told, found.samples)),
        plan=line_of(stay.batch.plan, ends),
        measured=tuple(measured),
        step=STEP,
        zero=found.zero,
        corrected=found.corrected,
        target=target,
        proposed=None if end is not None else proposed(found, target, stay.batch.course.never, now),
    )


Stretch = tuple[str, float, float]
"""A place, and from when to when the batch stood there."""


def _stretches(stay: Stay, since: float, until: float) -> Iterator[Stretch]:
    """Where the batch stood, oldest first."""
    start = max(stay.start, since)
    before = stay.before
    if before is not None and before.start < start and before.batch.since == stay.batch.since:
        yield from _stretches(before, since, start)
    yield stay.place, start, until


def _told(history: History, place: str, stretches: list[Stretch]) -> list[Logged]:
    """What was told of the batch and counts, as if it had stood in one place throughout."""
    told = [
        msgspec.structs.replace(logged, subject=place)
        for where, start, end in stretches
        for logged in history.counting(where, start - 1.0, end + HOUR)
    ]
    return sorted(told, key=lambda logged: logged.at)


def _days(
    believed: BelievedReadings, house: House, batch: Batch, stretches: list[Stretch],
    told: list[Logged], samples: tuple[Sampled, ...],
) -> Iterator[SheetDay]:  # fmt: skip
    site, zone = house.site, house.zone
    day = brewery_day(stretches[0][1], site.day_starts, zone)
    first, until, number = day, stretches[-1][2], 0
    while (at := at_clock(day, site.day_starts, zone)) < until:
        number = (day - first).days + 1
        day += timedelta(days=1)
        next_ = at_clock(day, site.day_starts, zone)
        if next_ <= at:  # a day that the wall clock was put over
            continue
        place = next((p for p, _, end in stretches if at < end), stretches[-1][0])
        own = [one for one in told if at <= one.at < next_ and one.at <= until]
        drawn = [one for one in samples if at <= one.at < next_]
        yield _day(believed, house, batch, place, (at, min(next_, until), number), own, drawn)


def _day(
    believed: BelievedReadings, house: House, batch: Batch, place: str,
    span: tuple[float, float, int], told: list[Logged], samples: list[Sampled],
) -> SheetDay:  # fmt: skip
    at, end, number = span
    probes = [probe.id for probe in house.probes_of(place, "product")]
    start = max(at, batch.since)
    room = house.place[place].room
    airs = [] if room is None else [probe.id for probe in house.probes_of(room, "air")]
    stages = dict.fromkeys(
        span.stage for span in batch.plan.spans if span.start < end and span.end > start
    )
    titles = [batch.course.stages[stage] for stage in stages]
    faces = [one.entry for one in told if isinstance(one.entry, e.Look)]
    amino = [one.entry.amino for one in told if isinstance(one.entry, e.Sample)]
    return SheetDay(
        at=at,
        number=number,
        place=place,
        day=batch.plan.day(start),
        stages=tuple(stage.title or {"en": stage.id} for stage in titles),
        aim=batch.plan.at(start),
        morning=_middle(believed, probes, at, min(at + HOUR, end)),
        evening=_middle(believed, probes, at + EVENING, min(at + EVENING + HOUR, end)),
        room=_middle(believed, airs, at, min(at + HOUR, end)),
        baume=_newest([one.baume for one in samples]),
        alcohol=_newest([one.alcohol for one in samples]),
        acidity=_newest([one.acidity for one in samples]),
        amino=_newest(amino),
        bmd=_newest([one.bmd for one in samples]),
        face=tuple(text for look in faces for text in (look.foam, look.text) if text),
        cooled=_cooled(believed.history, house, place, at, end),
        work=tuple(one for one in told if isinstance(one.entry, SHOWN)),
        stirs=sum(isinstance(one.entry, e.Stir) for one in told),
    )


def _newest(values: list[float | None]) -> float | None:
    known = [value for value in values if value is not None]
    return known[-1] if known else None


def _middle(
    believed: BelievedReadings, probes: list[str], start: float, end: float
) -> float | None:
    values = [value for probe in probes for _, value in believed.of(probe, start, end)]
    return median(values) if values else None


def _cooled(history: History, house: House, place: str, start: float, end: float) -> float | None:
    """Hours with the valve open."""
    open_, heard = 0.0, False
    for probe in house.probes_of(place, "valve"):
        readings = [*history.readings(probe.id, start, end)]
        heard = heard or bool(readings)
        for (at, value), (then, _) in pairwise([*readings, (end, 0.0)] if readings else []):
            open_ += min(then - at, probe.silent_after) if value else 0.0
    return open_ / HOUR if heard else None


def _curve(
    believed: BelievedReadings, house: House, place: str, start: float, end: float
) -> Iterator[Point]:
    held: dict[int, list[float]] = {}
    for probe in house.probes_of(place, "product"):
        for at, value in believed.of(probe.id, start, end):
            held.setdefault(int(at // STEP), []).append(value)
    for number in sorted(held):
        yield (number + 0.5) * STEP, median(held[number])


def ahead_of(
    house: House, place: str, batch: Batch, now: float, days: int, points: tuple[Point, ...]
) -> Ahead:
    """The plan at each of the coming turns of the brewery day, and what `points` make of it."""
    site, zone = house.site, house.zone
    turns, turn = [], day_turn(now, site.day_starts, zone)
    for _ in range(days):
        turn = day_turn(turn + 1.5 * DAY, site.day_starts, zone)
        turns.append(turn)
    until = turns[-1] + 1.0
    drawn = redrawn(house, batch, now, points) if points else None
    return Ahead(
        days=tuple(
            DayAhead(
                at=at, day=batch.plan.day(at), planned=batch.plan.at(at),
                first=batch.plan.first(at),
            )
            for at in turns
        ),
        plan=line_of(batch.plan, until),
        drawn=None if drawn is None else line_of(drawn.plan, until),
        questions=() if drawn is None else tuple(
            redrawn_questions(house.place[place].kind, batch, now, points)
        ),
    )  # fmt: skip
