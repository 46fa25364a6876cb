"""A probe's readings without those of hours in which it was told that it measures no product."""

from __future__ import annotations

from collections.abc import Iterator
from math import inf

from kuraban.core.alarm_conditions import NO_MEASURE
from kuraban.core.units import DAY, MINUTE
from kuraban.store.history import History

BEFORE = 20 * MINUTE
"""So long before it was told it may have been so."""


class BelievedReadings:
    """Of the probes of a house between two moments, as the journal's alarm steps tell it."""

    def __init__(self, history: History, start: float, end: float) -> None:
        self.history = history
        self._doubted: dict[str, list[tuple[float, float]]] = {}
        for step in history.steps(start - DAY, end):
            if step.condition not in NO_MEASURE:
                continue
            spans = self._doubted.setdefault(step.subject, [])
            open_ = bool(spans) and spans[-1][1] == inf
            if step.step in ("raised", "realarmed") and not open_:
                spans.append((step.at - BEFORE, inf))
            elif step.step in ("returned", "normal") and open_:
                spans[-1] = spans[-1][0], step.at

    def of(self, probe: str, start: float, end: float) -> Iterator[tuple[float, float]]:
        """(moment, value) of every reading that could be believed, oldest first."""
        doubted = self._doubted.get(probe, ())
        for at, value in self.history.readings(probe, start, end):
            if not any(since <= at < until for since, until in doubted):
                yield at, value
