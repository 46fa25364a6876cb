"""Middle, spread and slope that one bad reading cannot spoil.

A probe in a brewery is stirred past, pulled out and sprayed; a mean follows every such reading,
a median does not notice until half of them are bad. Everything here rests on medians:

- spread is the median absolute deviation (MAD) times 1.482602 = 1 / Φ⁻¹(0.75), which estimates
  the standard deviation of Gaussian noise;
- a slope is the median of the slopes of pairs of readings (Theil 1950, Sen 1968), which holds
  while fewer than 29.3 % of the readings are bad.

On few values the MAD reads low: over n = 3, 5, 7, 9, 11, 15 Gaussian values MAD · 1.482602 averages
0.672, 0.822, 0.879, 0.907, 0.926, 0.947 of the true spread.
"""

from __future__ import annotations

import math
import statistics
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations, pairwise
from statistics import NormalDist

from kuraban.errors import OutOfRange
from kuraban.trade.limits import all_finite, within

MAD_TO_SIGMA = 1.482602
"""1 / Φ⁻¹(0.75): the MAD of Gaussian values times this is their standard deviation."""


def mean(values: Sequence[float]) -> float:
    """The mean of `values` (1 or more), which every one of them moves: of few good ones."""
    return sum(values) / len(values)


def trimmed_mean(values: Sequence[float]) -> float:
    """The mean of `values` (1 or more), from five on without the least and the greatest.

    On a digital probe's steps, where medians stand still, it shows what lies between two steps.
    """
    return mean(sorted(values)[1:-1] if len(values) >= 5 else values)


def median(values: Sequence[float]) -> float:
    """The middle of `values` (1 or more, finite, any order); of an even count, the mean of two.

    Raises OutOfRange on none or on a value that is not finite.
    """
    return statistics.median(all_finite(values, 1, what="median"))


def mad(values: Sequence[float]) -> float:
    """Spread of `values`, in their unit: the median distance from their median, as a sigma.

    Reads low on few values (factors at the top of this file) and is 0 when more than half of the
    values are equal. Raises OutOfRange as `median` does.
    Source: Hampel 1974, J. Am. Stat. Assoc. 69:383.
    """
    middle = median(values)
    return MAD_TO_SIGMA * statistics.median(abs(value - middle) for value in values)


@dataclass(frozen=True, slots=True)
class Line:
    """A fitted line: `slope` with its confidence limits `low` and `high` (unit of y per x).

    `intercept` is the median of y - slope · x (unit of y).
    """

    slope: float
    low: float
    high: float
    intercept: float


def theil_sen(x: Sequence[float], y: Sequence[float], *, confidence: float = 0.95) -> Line:
    """The median slope of all pairs with different x, with Sen's confidence interval.

    `x` and `y` are equally long, finite, in any order, and hold at least two different x.
    Ties in x and in y narrow the interval as in Kendall's variance. The interval takes the
    errors as independent. Breaks down at 29.3 % bad values. Cost n²/2. Raises OutOfRange.
    Source: Sen 1968, J. Am. Stat. Assoc. 63:1379.
    """
    _paired(x, y)
    within(confidence, 0.5, 0.9999, what="confidence")
    points = sorted(zip(x, y, strict=True))
    slopes = sorted((d - b) / (c - a) for (a, b), (c, d) in combinations(points, 2) if c != a)
    slope, count = statistics.median(slopes), len(slopes)
    reach = NormalDist().inv_cdf((1 + confidence) / 2) * math.sqrt(_kendall_variance(x, y))
    lowest = max(round((count - reach) / 2) - 1, 0)
    highest = min(round((count + reach) / 2), count - 1)
    intercept = statistics.median(b - slope * a for a, b in zip(x, y, strict=True))
    return Line(slope, slopes[lowest], slopes[highest], intercept)


def autocorrelation(values: Sequence[float]) -> float:
    """Lag-one coefficient phi of an AR(1) series, -0.99 to 0.99, from 8 or more equally spaced
    residuals (take trend and course away first).

    Corrected for the downward bias of short series, after Kendall 1954, Biometrika 41:403:
    phi = (n·r + 1) / (n - 3); standard error about √((1 - phi²) / n). A constant series has
    none: 0. Raises OutOfRange.
    """
    n = len(all_finite(values, 8, what="autocorrelation"))
    mean = math.fsum(values) / n
    offsets = [value - mean for value in values]
    power = math.fsum(offset * offset for offset in offsets)
    if power <= 1e-24 * max(1.0, mean * mean) * n:
        return 0.0
    r = math.fsum(a * b for a, b in pairwise(offsets)) / power
    return min(0.99, max(-0.99, (n * r + 1) / (n - 3)))


def _paired(x: Sequence[float], y: Sequence[float]) -> None:
    all_finite(x, 2, what="x")
    all_finite(y, 2, what="y")
    if len(x) != len(y):
        raise OutOfRange(f"x and y: {len(x)} and {len(y)} values; equally many")
    if min(x) == max(x):
        raise OutOfRange(f"x: all values are {x[0]:g}; at least two different ones")


def _kendall_variance(x: Sequence[float], y: Sequence[float]) -> float:
    """Variance of Kendall's S without trend, less what ties in x and in y take away."""
    n = len(y)
    ties = sum(k * (k - 1) * (2 * k + 5) for series in (x, y) for k in Counter(series).values())
    return max(n * (n - 1) * (2 * n + 5) - ties, 0) / 18
