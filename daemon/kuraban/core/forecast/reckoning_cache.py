"""What a reader of the house keeps of what it has reckoned, so that it need not do so at each look.

Each view has a memory of its own. The steps of a track are reckoned at the moment when they are
asked for, and at another moment might hold one reading more or less: so nobody's asking may change
what another's decisions rest on.
"""

from __future__ import annotations

from array import array
from bisect import bisect_left
from collections.abc import Hashable
from typing import NamedTuple

from kuraban.core.plan.subject_state import Batch
from kuraban.core.planned_curve import Planned
from kuraban.core.probes.probe_view import SeriesView
from kuraban.core.units import HOUR

LONGEST_WINDOW = 8 * HOUR
LEAST_IN_STEP = 2

Point = tuple[float, float]
"""Time, and K above the plan."""


class Track:
    """The differences of one place from its plan in steps, each reckoned once."""

    __slots__ = ("apart", "inserted", "plan", "step", "times", "upto")

    def __init__(self, step: float) -> None:
        self.step = step
        self.plan: Planned | None = None
        self.inserted = -1
        self.times, self.apart = array("d"), array("d")
        """Middle of each step, and K above the plan then."""
        self.upto = 0
        """Number of the first step that is not reckoned yet."""

    def catch_up(self, series: SeriesView, batch: Batch, start: float, now: float) -> None:
        """Reckon what is closed since; all anew where the plan or the past has changed."""
        if self.plan is not batch.plan or self.inserted != series.inserted:
            self.plan, self.inserted = batch.plan, series.inserted
            del self.times[:], self.apart[:]
            self.upto = int((now - LONGEST_WINDOW) // self.step)
        first = max(self.upto, int(start // self.step))
        closed = int(now // self.step)
        for number in range(first, closed):
            values = sorted(series.since(number * self.step, (number + 1) * self.step)[1])
            if len(values) >= LEAST_IN_STEP:
                at = (number + 0.5) * self.step
                self.times.append(at)
                self.apart.append(values[len(values) // 2] - batch.plan.at(at))
        self.upto = max(self.upto, closed)
        gone = bisect_left(self.times, now - LONGEST_WINDOW)
        del self.times[:gone], self.apart[:gone]

    def since(self, begins: float) -> list[Point]:
        """The steps whose middles lie at or after a moment."""
        first = bisect_left(self.times, begins)
        return list(zip(self.times[first:], self.apart[first:], strict=True))


class Learned(NamedTuple):
    """Warm-ups of one place: K/h, seconds that they rest on, and °C of the air meanwhile."""

    seconds: float
    slowest: float
    typical: float
    fastest: float
    air: float | None
    shut: float
    """Share of the record in which nothing cooled it, 0 to 1."""


class WarmUps(NamedTuple):
    """What a record told, and the record that told it."""

    of: Hashable
    found: Learned | None


class Memory:
    """By place."""

    __slots__ = ("tracks", "warm_ups")

    def __init__(self) -> None:
        self.tracks: dict[str, Track] = {}
        self.warm_ups: dict[str, WarmUps] = {}
