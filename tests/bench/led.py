"""A clock that a backlog leads, so that the watch judges it as it was lived."""

from __future__ import annotations

import threading
from collections.abc import Iterable

from kuraban.clock import Clock, Pace, elapsed


class LedClock(Clock):
    """A clock that stands at the moment of the message that the watch loop reads just now.

    A backlog is drained a thousand times faster than it was sent, and by the machine's clock its
    readings would all be late, which are kept and hardly judged. So each message that the loop of
    the thread that made the clock carries across takes the clock on to its own moment.
    """

    def __init__(self, moments: Iterable[float]) -> None:
        super().__init__()
        self._moments = iter(moments)
        self._now = next(self._moments)
        self._loop = threading.get_ident()

    @property
    def pace(self) -> Pace:
        """For the program of the pages, which nothing leads: it has the machine's own time."""
        return Clock().pace

    def __call__(self) -> float:
        return self._now

    def of(self, real: float) -> float:
        if threading.get_ident() == self._loop:
            self._now = next(self._moments, self._now)
        return self._now

    def real(self, moment: float) -> float:
        return elapsed() + moment - self._now

    def follow(self) -> float:
        return 0.0
