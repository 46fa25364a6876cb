"""`trending-warm`, `trending-cold`: still inside, but on its way out within the look-ahead.

What trends is the difference between product and plan, so a plan that rises needs no allowance.
Its slope is Sen's, over a window of whole periods of the saw-tooth that on/off cooling makes: the
period is learned from how often the difference crossed its own line in the last hours. The slope's
interval, widened for the autocorrelation of the residuals, gives the hours in which the edge of the
tolerance is reached. It trends when even the slower end of that interval gets there, the slope
itself within the look-ahead, and the product stands where its saw-tooth never went in the last
hours, at two looks in a row.
"""

from __future__ import annotations

from itertools import pairwise
from typing import NamedTuple

from kuraban.core.course import FAR_FUTURE
from kuraban.core.ledger import Batch
from kuraban.core.units import HOUR, MINUTE
from kuraban.core.world import Detector, World
from kuraban.trade.robust import autocorrelation, median, theil_sen

LOOK = 10 * MINUTE
AHEAD = 3 * HOUR
WINDOW = {"koji-bed": 1.0 * HOUR, "starter": 2 * HOUR}
WINDOW_ELSE = 3 * HOUR
LONGEST_WINDOW = 8 * HOUR
LEAST_SHARE = 0.6
STEP = {"koji-bed": 3 * MINUTE, "starter": 5 * MINUTE}
STEP_ELSE = 10 * MINUTE
LEAST_SLOPE = 0.03
"""K an hour; below that nothing is told from noise and quantising."""
CONFIDENCE = 0.9
SWING_BEFORE = 1 * HOUR
CLEAR = 0.03


class Drift(NamedTuple):
    """Where the difference from the plan is going: K, and K an hour with its interval."""

    level: float
    slope: float
    low: float
    high: float
    swing: float
    """Half the height of the saw-tooth about its line, K."""
    now: float
    """The difference of the last ten minutes, K."""
    least: float
    most: float
    """Between which it swung before, in the hours until one hour ago, K."""
    seen: float
    """Seconds of those hours that are known."""

    def beyond_its_swing(self, upward: bool) -> bool:
        """Where no swing went before: not just the saw-tooth on its way to its next turn."""
        return self.now > self.most + CLEAR if upward else self.now < self.least - CLEAR

    def hours_to(self, edge: float) -> tuple[float, float] | None:
        """Earliest and latest hours until the difference reaches an edge on its way."""
        way = edge - self.level
        if way == 0:
            return 0.0, 0.0
        fast, slow = (self.high, self.low) if way > 0 else (self.low, self.high)
        if fast * way <= 0:
            return None
        latest = way / slow if slow * way > 0 else FAR_FUTURE
        return way / fast, latest


def drift_of(world: World, place: str, batch: Batch, now: float) -> Drift | None:
    """The present drift of a place against its plan, None where too little is known."""
    kind = world.house.place[place].kind
    step, window = STEP.get(kind, STEP_ELSE), WINDOW.get(kind, WINDOW_ELSE)
    begins = max(batch.settled_at(batch.plan.standing(now)), _undisturbed_since(world, place, now))
    points = _medians(world, place, batch, max(begins, now - LONGEST_WINDOW), now, step)
    if points and kind == "tank":
        window = _whole_periods(points, window)
    recent = [point for point in points if point[0] >= now - window]
    if len(recent) < 5 or recent[-1][0] - recent[0][0] < LEAST_SHARE * window:
        return None
    hours = [(at - now) / HOUR for at, _ in recent]
    apart = [value for _, value in recent]
    line = theil_sen(hours, apart, confidence=CONFIDENCE)
    rest = [value - line.slope * hour for hour, value in zip(hours, apart, strict=True)]
    level = median(rest)
    rest = [value - level for value in rest]
    phi = min(max(autocorrelation(rest), 0.0), 0.9) if max(rest) > min(rest) else 0.0
    widen = ((1 + phi) / (1 - phi)) ** 0.5
    low = line.slope - (line.slope - line.low) * widen
    high = line.slope + (line.high - line.slope) * widen
    before = [value for at, value in points if at < now - SWING_BEFORE] or apart[:1]
    seen = max(now - SWING_BEFORE - points[0][0], 0.0)
    swing = (max(rest) - min(rest)) / 2
    return Drift(level, line.slope, low, high, swing, apart[-1], min(before), max(before), seen)


def _undisturbed_since(world: World, place: str, now: float) -> float:
    """When the last mask ended: a stir is a step, not a slope."""
    book = world.ledger.books.get(place)
    ends = [mask.end for mask in book.masks if mask.end <= now] if book is not None else []
    return max(ends, default=0.0)


def _medians(
    world: World, place: str, batch: Batch, start: float, now: float, step: float
) -> list[tuple[float, float]]:
    """(time, median difference from the plan) of each step."""
    times, values = world.places[place].series.since(start, now)
    buckets: dict[int, list[float]] = {}
    for at, value in zip(times, values, strict=True):
        buckets.setdefault(int((at - now) // step), []).append(value)
    points = []
    for number, bucket in sorted(buckets.items()):
        at = now + (number + 0.5) * step
        points.append((at, median(bucket) - batch.plan.at(min(at, now))))
    return points


def _whole_periods(points: list[tuple[float, float]], window: float) -> float:
    """The window, stretched to whole periods of the saw-tooth that the points show."""
    middle = median([value for _, value in points])
    signs = [value > middle for _, value in points]
    crossings = sum(a != b for a, b in pairwise(signs))
    if crossings < 3:
        return window
    period = 2 * (points[-1][0] - points[0][0]) / crossings
    periods = max(round(window / period), 1)
    return min(max(periods * period, window), LONGEST_WINDOW)


class Trend(Detector):
    conditions = ("trending-warm", "trending-cold")

    def __init__(self, world: World, subject: str) -> None:
        super().__init__(world, subject)
        self.seen = {"warm": 0, "cold": 0}

    def look(self, now: float) -> float:
        world = self.world
        batch = world.batch(self.subject, now)
        if batch is None or not world.in_service(self.subject):
            self.seen = {"warm": 0, "cold": 0}
            self.clear(now)
            return FAR_FUTURE
        book = world.ledger.book(self.subject)
        running = book.let_run is not None and now < book.let_run.until
        if world.masked(self.subject, now) is not None or running:
            return now + LOOK
        known = world.product(self.subject, now)
        drift = None if known is None else drift_of(world, self.subject, batch, now)
        tolerance = batch.plan.standing(now).stage.tolerance
        for side, edge in (("warm", tolerance.above), ("cold", -tolerance.below)):
            self._judge(side, edge, drift, batch, now)
        return now + LOOK

    def _judge(self, side: str, edge: float, drift: Drift | None, batch: Batch, now: float) -> None:
        name = f"trending-{side}"
        outside = self.world.stands(self.subject, side, f"far-{side}")
        on_its_way = drift is not None and not outside and self._leaves(drift, edge)
        self.seen[side] = self.seen[side] + 1 if on_its_way else 0
        stands = self.world.stands(self.subject, name)
        if drift is None:
            if outside:
                self.found(name, False, now)
            return
        if stands and not on_its_way:
            hours = drift.hours_to(edge)
            if outside or hours is None or hours[0] > 1.5 * AHEAD / HOUR:
                self.found(name, False, now)
        elif self.seen[side] >= 2 and not stands:
            planned = batch.plan.at(now)
            self.found(name, True, now, value=planned + drift.level, planned=planned)

    def _leaves(self, drift: Drift, edge: float) -> bool:
        if abs(drift.slope) < LEAST_SLOPE or drift.slope * edge < 0:
            return False
        if (drift.low if edge > 0 else -drift.high) <= 0.25 * LEAST_SLOPE:
            return False
        if not drift.beyond_its_swing(edge > 0):
            return False
        way = (edge - drift.level) / drift.slope
        return 0 < way <= AHEAD / HOUR
