"""When each detector wants to look again; a later wish replaces an earlier one.

Wishes lie by the minute, unsorted, until their minute comes: a house of ten thousand probes has
forty thousand, and one heap of so many would be walked from end to end at every look. The wishes of
one minute are then sorted once. At one moment looks what wished first.
"""

from __future__ import annotations

import heapq

from kuraban.core.detectors.base import Detector
from kuraban.core.planned_curve import FAR_FUTURE
from kuraban.core.units import MINUTE

Wish = tuple[float, int, Detector]
"""When, in which order it was wished, and by whom."""
SWEPT_FROM = 1024
"""Wishes of one minute from which replaced ones are thrown out at every doubling."""


class Timers:
    def __init__(self) -> None:
        self.count = 0
        self.soonest = FAR_FUTURE
        """Nothing is due before."""
        self._minute = -1
        """The minute at hand; what is wished for it or before goes into `_late`."""
        self._present: list[Wish] = []
        """Its wishes, the soonest last."""
        self._late: list[Wish] = []
        """A heap."""
        self._ahead: dict[int, list[Wish]] = {}
        self._minutes: list[int] = []
        """A heap of the minutes in `_ahead`."""

    def want(self, detector: Detector, at: float) -> None:
        """Look at `at`, and not at any earlier time wished for before."""
        if at == detector.due:
            return
        detector.due = at
        if at >= FAR_FUTURE:
            return
        self.count += 1
        if at < self.soonest:
            self.soonest = at
        minute = int(at // MINUTE)
        if minute <= self._minute:
            heapq.heappush(self._late, (at, self.count, detector))
            return
        wishes = self._ahead.get(minute)
        if wishes is None:
            wishes = self._ahead[minute] = []
            heapq.heappush(self._minutes, minute)
        wishes.append((at, self.count, detector))
        size = len(wishes)
        if size >= SWEPT_FROM and size & (size - 1) == 0:
            wishes[:] = _standing(wishes)

    def next(self) -> float:
        """When the next look is due, FAR_FUTURE if none is."""
        present, late = self._present, self._late
        while present and present[-1][2].due != present[-1][0]:
            present.pop()
        while late and late[0][2].due != late[0][0]:
            heapq.heappop(late)
        if present or late:
            soonest = present[-1][0] if present else FAR_FUTURE
            if late and late[0][0] < soonest:
                soonest = late[0][0]
            self.soonest = soonest
            return soonest
        if self._minutes:
            self._minute = heapq.heappop(self._minutes)
            self._present = _standing(self._ahead.pop(self._minute))
            self._present.sort(reverse=True)
            return self.next()
        self.soonest = FAR_FUTURE
        return FAR_FUTURE

    def pop(self) -> Detector:
        """Who looks then; to be asked after `next`."""
        present, late = self._present, self._late
        if late and (not present or late[0] < present[-1]):
            detector = heapq.heappop(late)[2]
        else:
            detector = present.pop()[2]
        detector.due = FAR_FUTURE
        return detector


def _standing(wishes: list[Wish]) -> list[Wish]:
    """Those that no later one replaced."""
    return [wish for wish in wishes if wish[2].due == wish[0]]
