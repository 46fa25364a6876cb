"""Facts that come another way than the broker's: pages, courier, the watch's own parts."""

from __future__ import annotations

from collections import deque

from kuraban.core.facts import Fact
from kuraban.store.rows import received_of


class OwnFacts:
    """`add` may be called from any thread, the rest from the watch's loop."""

    def __init__(self) -> None:
        self._waiting: deque[Fact] = deque()

    def __bool__(self) -> bool:
        return bool(self._waiting)

    def add(self, *facts: Fact) -> None:
        self._waiting.extend(facts)

    def until(self, moment: float) -> list[Fact]:
        """Takes out what came at a moment or before, the earliest first."""
        found = []
        for _ in range(len(self._waiting)):
            fact = self._waiting.popleft()
            if received_of(fact) <= moment:
                found.append(fact)
            else:
                self._waiting.append(fact)
        return sorted(found, key=received_of)
