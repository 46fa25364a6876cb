"""When a drifting difference truly passed a limit, from the line through the readings about it.

A single reading of a sixteenth of a degree with its noise tells the moment of passing to half an
hour at 0.1 K an hour. While the delay runs, the readings before and after it are there: Sen's line
through them tells it to a few minutes. The line goes through means of some neighbours each, since
slopes between steps of a quantised probe are mostly nothing or a whole step; the least and the
greatest of the neighbours are left out, so a single outlier moves nothing. The line corrects what
noise can hide and no more: where the difference rises fast the first reading beyond is right, and
what is no line, a step, is not taken for one.
"""

from __future__ import annotations

from collections.abc import Sequence

from kuraban.core.units import HOUR
from kuraban.trade.robust import mean, theil_sen, trimmed_mean

GROUPS = 12
LEAST_READINGS = 12
HIDDEN = 0.05
"""K by which noise, steps of a sixteenth and the filter can hide that a limit is passed."""


def passed_at(
    times: Sequence[float], apart: Sequence[float], limit: float, noted: float
) -> float | None:
    """When the line through (times in s, apart in K) rises past `limit`, `noted` at a moment.

    None where nothing rises, and where the line passed outside the times given. Never longer
    before the moment noted than noise can hide it at that slope.
    """
    if len(times) < LEAST_READINGS:
        return None
    middle = times[len(times) // 2]
    hours, means = [], []
    for number in range(GROUPS):
        group = slice(number * len(times) // GROUPS, (number + 1) * len(times) // GROUPS)
        hours.append((mean(times[group]) - middle) / HOUR)
        means.append(trimmed_mean(apart[group]))
    line = theil_sen(hours, means)
    if line.slope <= 0:
        return None
    at = middle + (limit - line.intercept) / line.slope * HOUR
    if not times[0] <= at <= times[-1]:
        return None
    return max(at, noted - HIDDEN / line.slope * HOUR)
