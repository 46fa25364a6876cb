"""An invented product on a chosen course, and the probe in it, to practise with before the season.

The product lies on its plan. What goes wrong begins at a moment: the figures are those of common
practice, from memory, and only as true as a drill needs them.
"""

from __future__ import annotations

import math
import random
from typing import Literal

from kuraban.core import entries as e
from kuraban.core.plan.subject_state import Batch
from kuraban.core.planned_curve import Course, Mark
from kuraban.core.site import House
from kuraban.core.units import HOUR, MINUTE

Fault = Literal["none", "stalls", "drifts", "freezes", "falls-out", "falls-silent"]
WARMS = 0.3
"""°C an hour of a main mash without cooling."""
DRIFTS = -0.25
"""°C an hour of a probe that fails slowly."""
ROOM, TAKES_ON = 14.0, 3 * MINUTE
"""°C of the air into which it falls, and the time constant with which it takes that on."""
NOISE, KEPT = 0.012, 0.95
"""°C that are new at each reading, and the part of the last that stays."""
STEPS = 0.0625
"""°C of a one-wire probe's last bit."""
NAME = "Practice"


def longest_stage(course: Course) -> str:
    """The one in which a tank stands most of the time."""
    return max(course.stages, key=lambda stage: stage.length).id


class PracticeProbe:
    """`fault` begins at `wrong_from`, the batch's stage at `since`; Unix seconds."""

    def __init__(
        self, house: House, course: Course, stage: str, since: float, fault: Fault,
        wrong_from: float,
    ) -> None:  # fmt: skip
        entry = e.BatchStart(batch=NAME, course=course.id, stage=stage)
        self._batch = Batch(NAME, course, entry, since)
        index = course.index(stage)
        assert index is not None
        self._batch.marks = [Mark(index, since)]
        self._batch.lay(house)
        self._fault, self._wrong_from = fault, wrong_from
        self._lots = random.Random(since)
        self._noise, self._last = 0.0, self._batch.plan.at(wrong_from)

    def reading(self, at: float) -> float | None:
        """°C, or nothing where it is silent; asked in the order of time."""
        self._noise = KEPT * self._noise + self._lots.gauss(0.0, NOISE)
        product = self._batch.plan.at(at) + self._noise
        value = product if at < self._wrong_from else self._wrong(product, at - self._wrong_from)
        if value is None:
            return None
        if at < self._wrong_from:
            self._last = value
        return round(value / STEPS) * STEPS

    def _wrong(self, product: float, elapsed: float) -> float | None:
        match self._fault:
            case "stalls":
                return product + WARMS * elapsed / HOUR
            case "drifts":
                return product + DRIFTS * elapsed / HOUR
            case "freezes":
                return self._last
            case "falls-out":
                return ROOM + self._noise + (self._last - ROOM) * math.exp(-elapsed / TAKES_ON)
            case "falls-silent":
                return None
            case _:
                return product
