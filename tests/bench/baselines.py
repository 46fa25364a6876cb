"""What a plain alarm would do on the same recordings: a fixed limit on the raw reading.

It knows the plan and the stage's tolerance, and rings where a product reading lies outside them,
at once or after a time. It rings again after each return. It is spared the malformed messages and
the bus codes that the front door refuses; everything else it takes as it comes.
"""

from __future__ import annotations

from kuraban.core.facts import Reading
from kuraban.core.house_view import HouseView
from tests.bench.judging import Ring


class FixedLimit:
    """`delay` in seconds that a reading must stay outside; 0 rings at once."""

    def __init__(self, delay: float) -> None:
        self.delay = delay
        self.rings: list[Ring] = []
        self._since: dict[tuple[str, str], float] = {}
        self._rung: set[tuple[str, str]] = set()

    def hear(self, reading: Reading, view: HouseView) -> None:
        probe = view.house.probe[reading.probe]
        batch = view.batch(probe.of, reading.at) if probe.of in view.house.place else None
        if probe.measures != "product" or batch is None:
            return
        tolerance = batch.plan.standing(reading.at).stage.tolerance
        off = reading.value - batch.plan.at(reading.at)
        self._look(probe.of, "warm", off > tolerance.above, reading.at)
        self._look(probe.of, "cold", off < -tolerance.below, reading.at)

    def _look(self, place: str, side: str, outside: bool, at: float) -> None:
        key = place, side
        if not outside:
            self._since.pop(key, None)
            self._rung.discard(key)
        elif at - self._since.setdefault(key, at) >= self.delay and key not in self._rung:
            self._rung.add(key)
            name = f"{place} {side} {at}"
            self.rings.append(Ring(at, place, side, "brewer", True, True, message=name))
