"""Where a product is going against its plan, with an honest interval.

What drifts is the difference between product and plan, so a plan that rises needs no allowance.
It is kept as medians of ten minutes (less where things move faster). Its slope is Sen's, over a
window of whole periods of the saw-tooth that on/off cooling makes; the period is learned from how
often the difference crossed its own middle. The slope's interval is widened for the
autocorrelation of what is left about the line: in a cellar neighbours in time resemble each other.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from itertools import pairwise
from typing import NamedTuple

from kuraban.core.forecast.reckoning_cache import LEAST_IN_STEP, LONGEST_WINDOW, Point, Track
from kuraban.core.house_view import HouseView
from kuraban.core.plan.subject_state import Batch
from kuraban.core.planned_curve import FAR_FUTURE
from kuraban.core.units import HOUR, MINUTE
from kuraban.trade.robust import autocorrelation, median, theil_sen

WINDOW = {"koji-bed": 1 * HOUR, "starter": 2 * HOUR}
WINDOW_ELSE = 3 * HOUR
LEAST_SHARE = 0.6
STEP = {"koji-bed": 3 * MINUTE, "starter": 5 * MINUTE}
STEP_ELSE = 10 * MINUTE
CONFIDENCE = 0.9
SWING_BEFORE = 1 * HOUR
CLEAR = 0.03
PRESENT = 3
"""Steps that say where the line stands now; a curve's end is not its middle's continuation."""
LEVEL_DOUBT = 0.05
"""K by which the level may be off: steps of a sixteenth, the filter, the mash about the probe."""
PHI_LEAST, PHI_UNKNOWN = 8, 0.5
"""Values from which an autocorrelation can be told, and what is taken for it below that."""


class Swing(NamedTuple):
    """Where the difference stands now and where it went before, K."""

    now: float
    least: float
    most: float
    seen: float
    """Seconds of the time before, until one hour ago, that are known."""

    def exceeded(self, upward: bool) -> bool:
        """Where no swing went before: not just the saw-tooth on its way to its next turn."""
        return self.now > self.most + CLEAR if upward else self.now < self.least - CLEAR


class Drift(NamedTuple):
    """Where the difference from the plan is going: K, and K an hour with its interval."""

    level: float
    slope: float
    low: float
    high: float
    swing: Swing

    def hours_to(self, edge: float) -> tuple[float, float] | None:
        """Earliest and latest hours until the difference reaches an edge on its way."""
        way = edge - self.level
        if way == 0:
            return 0.0, 0.0
        fast, slow = (self.high, self.low) if way > 0 else (self.low, self.high)
        if fast * way <= 0:
            return None
        latest = (abs(way) + LEVEL_DOUBT) / abs(slow) if slow * way > 0 else FAR_FUTURE
        return max(abs(way) - LEVEL_DOUBT, 0.0) / abs(fast), latest


def points_of(view: HouseView, place: str, batch: Batch, now: float) -> list[Point]:
    """The differences of the last hours since the product was last disturbed, in steps."""
    track, begins, present = _steps(view, place, batch, now)
    points = track.since(begins)
    return points if present is None else [*points, present]


def _steps(
    view: HouseView, place: str, batch: Batch, now: float
) -> tuple[Track, float, Point | None]:
    """The track of a place, from when on its steps count, and the step that is still open."""
    series, tracks = view.places[place].series, view.memory.tracks
    track = tracks.get(place)
    if track is None:
        step = STEP.get(view.house.place[place].kind, STEP_ELSE)
        track = tracks[place] = Track(step)
    plan = batch.plan
    settled = batch.settled_at(plan.standing(now))
    begins = max(settled, undisturbed_since(view, place, now), now - LONGEST_WINDOW)
    track.catch_up(series, batch, begins, now)
    times, values = series.since(max(track.upto * track.step, begins), now)
    if len(times) < LEAST_IN_STEP:
        return track, begins, None
    at = times[len(times) // 2]
    return track, begins, (at, sorted(values)[len(values) // 2] - plan.at(at))


def swing_in(view: HouseView, place: str, batch: Batch, now: float) -> Swing | None:
    """The swing of the same differences, which are not laid out for it."""
    track, begins, last = _steps(view, place, batch, now)
    times, apart = track.times, track.apart
    first = bisect_left(times, begins)
    if last is None and first < len(times):
        last = times[-1], apart[-1]
    return _swing(times, apart, first, last, now)


def swing_of(points: list[Point], now: float) -> Swing | None:
    """Where the difference stands and went before; None where nothing is known yet."""
    times, apart = [at for at, _ in points], [value for _, value in points]
    return _swing(times, apart, 0, points[-1] if points else None, now)


def _swing(
    times: Sequence[float], apart: Sequence[float], first: int, last: Point | None, now: float
) -> Swing | None:
    if last is None or now - last[0] > 2 * HOUR:
        return None
    before = apart[first : bisect_left(times, now - SWING_BEFORE)]
    if not before:
        begun = apart[first] if first < len(apart) else last[1]
        return Swing(last[1], begun, begun, 0.0)
    return Swing(last[1], min(before), max(before), now - SWING_BEFORE - times[first])


def drift_of(view: HouseView, place: str, batch: Batch, now: float) -> Drift | None:
    """The present drift of a place against its plan, None where too little is known."""
    points = points_of(view, place, batch, now)
    swing = swing_of(points, now)
    return None if swing is None else drift_along(points, swing, view.house.place[place].kind, now)


def drift_along(points: list[Point], swing: Swing, kind: str, now: float) -> Drift | None:
    """The drift that the differences show, None where the window is too thinly filled."""
    window = WINDOW.get(kind, WINDOW_ELSE)
    if kind == "tank":
        window = _whole_periods(points, window)
    recent = [point for point in points if point[0] >= now - window]
    if len(recent) < 5 or recent[-1][0] - recent[0][0] < LEAST_SHARE * window:
        return None
    hours = [(at - now) / HOUR for at, _ in recent]
    apart = [value for _, value in recent]
    line = theil_sen(hours, apart, confidence=CONFIDENCE)
    rest = [value - line.slope * hour for hour, value in zip(hours, apart, strict=True)]
    middle, level = median(rest), median(rest[-PRESENT:])
    rest = [value - middle for value in rest]
    phi = PHI_UNKNOWN
    if len(rest) >= PHI_LEAST:
        phi = min(max(autocorrelation(rest), 0.0), 0.9) if max(rest) > min(rest) else 0.0
    widen = ((1 + phi) / (1 - phi)) ** 0.5
    low = line.slope - (line.slope - line.low) * widen
    high = line.slope + (line.high - line.slope) * widen
    return Drift(level, line.slope, low, high, swing)


def undisturbed_since(view: HouseView, place: str, now: float) -> float:
    """When the last mask ended: a stir is a step, not a slope."""
    ends = [mask.end for mask in view.entry_log.of(place).masks if mask.end <= now]
    return max(ends, default=0.0)


def _whole_periods(points: list[Point], window: float) -> float:
    """The window, stretched to whole periods of the saw-tooth that the points show."""
    middle = median([value for _, value in points])
    signs = [value > middle for _, value in points]
    crossings = sum(a != b for a, b in pairwise(signs))
    if crossings < 3:
        return window
    period = 2 * (points[-1][0] - points[0][0]) / crossings
    periods = max(round(window / period), 1)
    return min(max(periods * period, window), LONGEST_WINDOW)
