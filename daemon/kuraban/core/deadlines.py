"""What is to happen at a stated time, in the order of the times; ties as they were entered."""

from __future__ import annotations

import heapq
from typing import Any

from kuraban.core.course import FAR_FUTURE

Item = tuple[float, int, str, tuple[Any, ...]]


class Deadlines:
    """Names of things to do and their arguments; whoever takes an item checks that it still is."""

    def __init__(self) -> None:
        self.items: list[Item] = []
        self.count = 0
        self.soonest = FAR_FUTURE
        """No item is due before."""

    def add(self, at: float, name: str, *about: Any) -> None:
        self.count += 1
        heapq.heappush(self.items, (at, self.count, name, about))
        self.soonest = min(self.soonest, at)

    def next(self) -> float:
        self.soonest = self.items[0][0] if self.items else FAR_FUTURE
        return self.soonest

    def pop(self) -> Item:
        return heapq.heappop(self.items)
