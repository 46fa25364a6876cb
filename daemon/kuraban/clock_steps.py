"""What the watch makes of its wall clock, and of time that it did not see pass, as facts.

    wall clock moved against elapsed time      ClockStepped, and everything runs on
    the loop stood still (machine asleep)      nobody watched from then to now
    at a start, before the journal's end       ClockStepped while nobody watched; how long that
                                               was is not known, so the watch's time goes on as
                                               if it had been no time at all
    and put forward again after that           now it is known: nobody watched for so long, and
                                               the watch's time catches up

The last two are a board without a clock battery, which wakes up in the past and is put right once
it reaches a time server. A new journal on such a board begins at a moment that may have been.
"""

from __future__ import annotations

from collections.abc import Sequence

from kuraban.clock import Clock, elapsed
from kuraban.core.facts import ClockStepped, Fact, Impaired
from kuraban.core.units import MINUTE, parse_time

GAP = 2 * MINUTE
"""A time without a look that is longer is one in which nobody watched."""
WRITTEN = parse_time("2025-01-01T00:00:00Z")
"""Before that nobody can have started this program: a clock that says so is wrong."""


class WallClock:
    """Looks at `clock` for the watch's loop, which takes the facts."""

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self._since = clock()
        """Since when elapsed time is exact."""
        self._looked = elapsed()
        self.steps: list[ClockStepped] = []

    def take_up(self, steps: Sequence[ClockStepped], last: float | None) -> list[Fact]:
        """Go on from a journal with these steps that ends at `last`, None for a new one."""
        self.steps = list(steps)
        by = 0.0
        if last is None and self._clock() < WRITTEN:
            last = WRITTEN
        if last is not None:
            by = self._clock.take_up(last, steps[-1].ahead if steps else 0.0)
        self._since, self._looked = self._clock(), elapsed()
        return [self._stepped(by, watched=False)] if by else []

    def look(self) -> list[Fact]:
        """What came about since the last look, in the order of its time."""
        found: list[Fact] = []
        before, self._looked = self._looked, elapsed()
        if self._looked - before > GAP:
            found += _unwatched(self._clock.of(before), self._clock())
        by = self._clock.follow()
        if by:
            found += self._caught_up()
            found.append(self._stepped(by))
        return found

    def renewed(self) -> list[Fact]:
        """What a new journal must know."""
        return [self._stepped(0.0)] if self._clock.ahead else []

    def _stepped(self, by: float, *, watched: bool = True) -> ClockStepped:
        step = ClockStepped(self._clock(), by, self._clock.ahead, self._since, watched)
        self.steps.append(step)
        return step

    def _caught_up(self) -> list[Fact]:
        """The time that a start in the past hid, once the clock was put right again."""
        was = _hidden(self.steps)
        if was is None or self._clock.ahead < was:
            return []
        before = self._clock()
        self._clock.jump(self._clock.ahead - was)
        self._since = self._clock()
        return _unwatched(before, self._since) if self._since - before > GAP else []


def _hidden(steps: Sequence[ClockStepped]) -> float | None:
    """How far the wall clock was ahead before it stepped back while nobody watched, if it was not
    put right since."""
    was = None
    for step in steps:
        if not step.watched:
            was = step.ahead - step.by
        elif was is not None and step.ahead >= was:
            was = None
    return was


def _unwatched(start: float, end: float) -> list[Fact]:
    return [Impaired("watch", True, start), Impaired("watch", False, end)]
