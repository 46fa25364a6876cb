"""The watch's clock: the machine's own, or one that runs faster from a moment of its choice.

The edges (broker, phones) live in real time whatever the watch's clock says; `of` and `real` carry
a moment across.
"""

from __future__ import annotations

import time
from typing import NamedTuple


class Pace(NamedTuple):
    """How a clock runs: what makes another the same (`Clock`)."""

    speed: float
    start: float
    began: float


class Clock:
    """Unix seconds that pass `speed` times as fast, and said `start` at the real time `began`."""

    def __init__(
        self, speed: float = 1.0, start: float | None = None, began: float | None = None
    ) -> None:
        self.speed = speed
        self._began = time.time() if began is None else began
        self._start = self._began if start is None else start

    @property
    def pace(self) -> Pace:
        """By which a clock in another process of this machine says the same."""
        return Pace(self.speed, self._start, self._began)

    def __call__(self) -> float:
        return self.of(time.time())

    def of(self, real: float) -> float:
        """What this clock says at a moment of real time."""
        return self._start + (real - self._began) * self.speed

    def real(self, moment: float) -> float:
        """The real time at which this clock says `moment`."""
        return self._began + (moment - self._start) / self.speed
