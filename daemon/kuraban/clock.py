"""The watch's clock: elapsed time joined to the wall clock once, and how far that has moved since.

Elapsed time is the machine's own count of seconds since it was switched on, those in which it slept
included. It is what the edges (broker, phones) measure pauses by, and what the watch's time goes
on by; `of` and `real` carry a moment across. The wall clock can be set by anybody. What it moves by
less than a second is followed without going back; more is a step, which `follow` tells, and which
leaves the watch's time alone (`kuraban.core.timescale` says why).

For a demo or a test the clock may run faster than life, from a moment of its choice, and has no
wall clock but itself.
"""

from __future__ import annotations

import math
import time
from typing import NamedTuple

SHARPLY = 0.1
"""A look at the wall clock that took longer than this, seconds, says nothing."""
SLEWS = 1.0
"""Seconds; what is less is no step."""

wall_clock = time.time
"""Unix seconds by the wall clock of this machine."""


def elapsed() -> float:
    """Seconds that went by on this machine, asleep or awake; the same in each of its processes."""
    if hasattr(time, "CLOCK_BOOTTIME"):
        return time.clock_gettime(time.CLOCK_BOOTTIME)
    return time.monotonic()


class Pace(NamedTuple):
    """How a clock goes: what it says at which moment of elapsed time, and how fast that grows."""

    speed: float
    start: float
    began: float


class Clock:
    """Unix seconds that pass `speed` times as fast as elapsed ones, and said `start` at `began`.

    Without `start` they are the wall clock's of this moment.
    """

    def __init__(
        self, speed: float = 1.0, start: float | None = None, began: float | None = None
    ) -> None:
        self.speed = speed
        self.ahead = 0.0
        """Seconds by which the wall clock is ahead of this one."""
        self._by_the_wall = start is None
        now = elapsed()
        self._joined = (
            now if began is None else began,
            wall_clock() if start is None else start,
        )
        self._first = self._joined
        self._least = -math.inf

    @property
    def pace(self) -> Pace:
        """By which a clock in another process of this machine says the same."""
        began, start = self._joined
        return Pace(self.speed, start, began)

    def __call__(self) -> float:
        return max(self.of(elapsed()), self._least)

    def of(self, real: float) -> float:
        """What this clock says at a moment of elapsed time."""
        began, start = self._joined
        return start + (real - began) * self.speed

    def real(self, moment: float) -> float:
        """The elapsed time at which this clock says `moment`."""
        began, start = self._joined
        return began + (moment - start) / self.speed

    def shown(self, real: float) -> float:
        """What the wall clock shows now, which is `real` by elapsed time."""
        if self._by_the_wall:
            return wall_clock()
        began, start = self._first
        return start + (real - began) * self.speed

    def take_up(self, last: float, ahead: float) -> float:
        """Go on from a journal that ends at `last`, the wall clock `ahead` of it by then.

        Where that would be before the journal's end the wall clock has stepped while nobody
        watched: the seconds of it, else 0.
        """
        real = elapsed()
        now = self.shown(real) - ahead
        by = float(math.floor(now - last)) if now < last - SLEWS else 0.0
        self.ahead = ahead + by
        self._joined = real, max(now - by, last)
        return by

    def follow(self) -> float:
        """The whole seconds that the wall clock has stepped by since the last look, 0 for none.

        The rest, as any slewing, is followed; this clock never goes back for it.
        """
        real = elapsed()
        shown = self.shown(real)
        if elapsed() - real > SHARPLY:
            return 0.0
        moved = shown - self.ahead - self.of(real)
        by = 0.0 if abs(moved) < SLEWS else float(round(moved))
        self.ahead += by
        self._move(moved - by)
        return by

    def jump(self, by: float) -> None:
        """More time went by than was known: this clock catches up with the wall clock."""
        self._move(by)
        self.ahead -= by

    def not_before(self, moment: float) -> None:
        """It is that moment at least, as another process of the same watch knows."""
        self._move(max(moment - self(), 0.0))

    def _move(self, by: float) -> None:
        if by:
            self._least = max(self._least, self())
            began, start = self._joined
            self._joined = began, start + by
