"""How fast a tank warms when nothing cools it, learned from its own record.

On/off cooling gives the answer several times a night: while the valve is shut, or the cooler does
not run, the product goes where ferment and cellar take it. The first minutes of such a stretch
belong to the cold wall and are left out, and so is everything within a mask. The slope of what is
left is Theil's and Sen's. What was learned before something was added says nothing of the tank now.

What is learned is a pure function of the record up to a full ten minutes, so whoever asks, and when
within them, gets the same; the memory of a view only saves the work.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable

from kuraban.core import entries as e
from kuraban.core.equipment.cooler_view import RUNS_SHARE, RUNS_WATTS
from kuraban.core.forecast.reckoning_cache import Learned, WarmUps
from kuraban.core.house_view import HouseView
from kuraban.core.plan.fill_level import TRACES
from kuraban.core.probes.probe_view import ProbeView, SeriesView
from kuraban.core.units import HOUR, MINUTE
from kuraban.trade.robust import median, theil_sen, trimmed_mean

EVERY = 10 * MINUTE
RECORD = 13 * HOUR
"""How far back the record is asked; a little less than what is kept of it."""
WALL = {"starter": 15 * MINUTE}
WALL_ELSE = 25 * MINUTE
"""The beginning of a stretch, in which the cold wall still counts."""
LEAST_STRETCH = 30 * MINUTE
POINT = 5 * MINUTE
LEAST_POINTS = 5

Span = tuple[float, float]


def learned(view: HouseView, place: str, now: float) -> Learned | None:
    """What the record of a place tells, None where it tells nothing."""
    upto = now // EVERY * EVERY
    begin = max(upto - RECORD, disturbed_since(view, place, upto))
    heard = [view.places[place].series, *(s.series for s in _switches(view, place))]
    key = (upto, begin, *(_extent(series, upto) for series in heard))
    warm_ups = view.memory.warm_ups
    known = warm_ups.get(place)
    if known is None or known.of != key:
        known = warm_ups[place] = WarmUps(key, _learn(view, place, begin, upto))
    return known.found


def _extent(series: SeriesView, upto: float) -> tuple[int, int, float]:
    """Changes whenever what is known of the time before `upto` does."""
    count = bisect_right(series.times, upto)
    return count, series.inserted, series.times[count - 1] if count else 0.0


def disturbed_since(view: HouseView, place: str, now: float) -> float:
    """When the product last became another one: a batch, an addition, mash from elsewhere."""
    latest = 0.0
    for logged in view.entry_log.counting():
        entry = logged.entry
        if logged.at > now or not _touches(logged.subject, entry, place):
            continue
        if not (isinstance(entry, e.Addition) and entry.what in TRACES):
            since = getattr(entry, "since", None)
            latest = max(latest, logged.at if since is None else float(since))
    return latest


def _touches(subject: str, entry: e.Entry, place: str) -> bool:
    match entry:
        case e.BatchStart() | e.Addition():
            return subject == place
        case e.Move(to=goal) | e.Merge(into=goal):
            return goal == place
        case e.Split(to=goals):
            return place in goals or subject == place
        case _:
            return False


def _switches(view: HouseView, place: str) -> list[ProbeView]:
    """What tells when nothing cools a place: its valve, and whether its cooler runs."""
    cooler = view.entry_log.cooler_of(place)
    running = [] if cooler is None else view.hanging(cooler, "running")
    power = [] if cooler is None or running else view.hanging(cooler, "power")
    return [*view.hanging(place, "valve")[:1], *running[:1], *power[:1]]


def _learn(view: HouseView, place: str, begin: float, upto: float) -> Learned | None:
    shut = _merged(
        span
        for probe_state in _switches(view, place)
        for span in _idle(view, probe_state, begin, upto)
    )
    slopes, seconds, airs = [], 0.0, []
    for start, end in _undisturbed(view, place, shut):
        found = _slope(view.places[place].series, start, end)
        if found is not None:
            slopes.append(found[0])
            seconds += found[1]
            airs += _air(view, place, start, end)
    if not slopes:
        return None
    idle = sum(end - start for start, end in shut)
    told = [s.series.since(begin, upto)[0] for s in _switches(view, place)]
    known = upto - min(times[0] for times in told if times)
    return Learned(
        seconds, min(slopes), median(slopes), max(slopes), median(airs) if airs else None,
        idle / known,
    )  # fmt: skip


def _idle(view: HouseView, probe_state: ProbeView, begin: float, upto: float) -> list[Span]:
    """The stretches in which this valve was shut, or this cooler did not run."""
    least = 0.5
    if probe_state.probe.measures == "power":
        rated = view.house.cooler[probe_state.probe.of].rated_watts
        least = RUNS_WATTS if rated is None else RUNS_SHARE * rated
    times, values = probe_state.series.since(begin, upto)
    spans = []
    for number, (at, value) in enumerate(zip(times, values, strict=True)):
        until = times[number + 1] if number + 1 < len(times) else upto
        if value < least:
            spans.append((at, min(until, at + probe_state.silent_after)))
    return spans


def _merged(spans: Iterable[Span]) -> list[Span]:
    found: list[Span] = []
    for start, end in sorted(spans):
        if found and start <= found[-1][1]:
            found[-1] = found[-1][0], max(found[-1][1], end)
        else:
            found.append((start, end))
    return found


def _undisturbed(view: HouseView, place: str, spans: list[Span]) -> list[Span]:
    """The parts that count: the cold wall's time, and what masks cover, taken off."""
    wall = WALL.get(view.house.place[place].kind, WALL_ELSE)
    subject_state = view.entry_log.subject_states.get(place)
    masks = (
        [] if subject_state is None else [(mask.start, mask.end) for mask in subject_state.masks]
    )
    found = []
    for start, end in spans:
        begin = start + wall
        for masked, free in sorted(masks):
            if masked < end and free > begin:
                if masked - begin >= LEAST_STRETCH:
                    found.append((begin, masked))
                begin = max(begin, free)
        if end - begin >= LEAST_STRETCH:
            found.append((begin, end))
    return found


def _slope(series: SeriesView, start: float, end: float) -> tuple[float, float] | None:
    """K/h along a stretch, five minutes a point, and seconds heard; None where they are too few.

    A point is the mean of the middle values, not their median: on a digital probe's steps medians
    stand still and make the slope read a third too low.
    """
    times, values = series.since(start, end)
    points: dict[int, list[float]] = {}
    for at, value in zip(times, values, strict=True):
        points.setdefault(int(at // POINT), []).append(value)
    if len(points) < LEAST_POINTS:
        return None
    hours = [number * POINT / HOUR for number in points]
    line = theil_sen(hours, [trimmed_mean(held) for held in points.values()])
    return line.slope, len(points) * POINT


def _air(view: HouseView, place: str, start: float, end: float) -> list[float]:
    room = view.house.place[place].room
    probe_states = [] if room is None else view.hanging(room, "air")
    return [
        value
        for probe_state in probe_states[:1]
        for value in probe_state.series.since(start, end)[1]
    ]
