"""Middle, spread, outliers and slope that one bad reading cannot spoil.

A probe in a brewery is stirred past, pulled out and sprayed; a mean follows every such reading,
a median does not notice until half of them are bad. Everything here rests on medians:

- spread is the median absolute deviation (MAD) times 1.482602 = 1 / Φ⁻¹(0.75), which estimates
  the standard deviation of Gaussian noise;
- an outlier is a reading further than 3 such spreads from the median of its neighbours (Hampel);
- a slope is the median of the slopes of pairs of readings (Theil 1950, Sen 1968), which holds
  while fewer than 29.3 % of the readings are bad.

Two cautions. On a short window the MAD reads low: over n = 3, 5, 7, 9, 11, 15 Gaussian values
MAD · 1.482602 averages 0.672, 0.822, 0.879, 0.907, 0.926, 0.947 of the true spread. So a Hampel
filter at 3 spreads flags 4.8 %, 2.9 % or 2.0 % of pure noise at n = 7, 11, 15, not 0.27 %. And
a digital probe that stands still has a MAD of exactly zero, so that one step of its last bit is
an "outlier": give the filters a `floor` of one such step.
"""

from __future__ import annotations

import math
import statistics
from bisect import bisect_left, insort
from collections import Counter, deque
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import accumulate, combinations, pairwise
from statistics import NormalDist

from kuraban.errors import OutOfRange
from kuraban.trade.limits import above, all_finite, within

MAD_TO_SIGMA = 1.482602
"""1 / Φ⁻¹(0.75): the MAD of Gaussian values times this is their standard deviation."""


def median(values: Sequence[float]) -> float:
    """The middle of `values` (1 or more, finite, any order); of an even count, the mean of two.

    Raises OutOfRange on none or on a value that is not finite.
    """
    return statistics.median(all_finite(values, 1, what="median"))


def mad(values: Sequence[float], *, constant: float = MAD_TO_SIGMA) -> float:
    """Median absolute deviation from the median, times `constant`; unit of `values`, 0 or more.

    `constant=1` gives the bare MAD. Reads low on few values (factors at the top of this file)
    and is 0 when more than half of the values are equal. Raises OutOfRange as `median` does.
    Source: Hampel 1974, J. Am. Stat. Assoc. 69:383.
    """
    middle = median(values)
    return constant * statistics.median(abs(value - middle) for value in values)


@dataclass(frozen=True, slots=True)
class Cleaned:
    """A series after `hampel`: `values` as long as the input, `replaced` the indices changed."""

    values: tuple[float, ...]
    replaced: tuple[int, ...]


def hampel(
    values: Sequence[float], k: int = 3, threshold: float = 3.0, floor: float = 0.0
) -> Cleaned:
    """Replace outliers by the median of their window of 2k + 1 readings, looking both ways.

    `threshold` counts spreads (0 makes a plain median filter); `floor`, in the unit of the
    values, is the least spread believed: one step of a digital probe. The first and last k
    readings are left alone. False flags on noise: see the top of this file.
    Raises OutOfRange for k < 1, a negative threshold or floor, or values not finite.
    Source: Pearson 1999, J. Process Control 9:385; same convention as R pracma::hampel.
    """
    within(k, 1, math.inf, what="half width k")
    within(threshold, 0, math.inf, what="threshold")
    within(floor, 0, math.inf, what="floor")
    all_finite(values, 0, what="hampel")
    cleaned, replaced = list(values), []
    for i in range(k, len(values) - k):
        window = values[i - k : i + k + 1]
        middle = statistics.median(window)
        if abs(values[i] - middle) > threshold * max(mad(window), floor):
            cleaned[i] = middle
            replaced.append(i)
    return Cleaned(tuple(cleaned), tuple(replaced))


@dataclass(frozen=True, slots=True)
class Filtered:
    """What `RunningMedian` says of one reading: the window's median, and whether it is wild."""

    median: float
    outlier: bool


class RunningMedian:
    """A Hampel filter that cannot see the future: the median of the latest n readings.

    On a steady climb the median lags by (n - 1) / 2 readings; a true step comes through after
    (n + 1) / 2 readings, and that many are called outliers on the way. A burst of fewer than
    (n + 1) / 2 bad readings never reaches the median. On pure noise it flags as often as the
    two-sided filter of the same width: 4.8 % at n = 7, 2.9 % at 11, 2.0 % at 15.
    """

    __slots__ = ("_floor", "_latest", "_sorted", "_threshold")

    def __init__(self, n: int = 7, *, threshold: float = 3.0, floor: float = 0.0) -> None:
        """`n` readings, odd, 3 or more; `threshold` and `floor` as in `hampel`.

        Raises OutOfRange.
        """
        within(n, 3, math.inf, what="window n")
        if n % 2 == 0:
            raise OutOfRange(f"window n: {n} has no middle; an odd number of readings")
        self._threshold = within(threshold, 0, math.inf, what="threshold")
        self._floor = within(floor, 0, math.inf, what="floor")
        self._latest: deque[float] = deque(maxlen=n)
        self._sorted: list[float] = []

    def take(self, value: float) -> Filtered:
        """Take the next reading, finite, and judge it by the window that it completes.

        Until three readings are in nothing is called an outlier. Raises OutOfRange.
        """
        within(value, -math.inf, math.inf, what="reading")
        if len(self._latest) == self._latest.maxlen:
            del self._sorted[bisect_left(self._sorted, self._latest[0])]
        self._latest.append(value)
        insort(self._sorted, value)
        middle = statistics.median(self._sorted)
        spread = max(mad(self._sorted), self._floor)
        far = len(self._sorted) >= 3 and abs(value - middle) > self._threshold * spread
        return Filtered(middle, far)


@dataclass(frozen=True, slots=True)
class Line:
    """A fitted line: `slope` with its confidence limits `low` and `high` (unit of y per x).

    `intercept` is median(y) - slope · median(x), `intercept_of_residuals` the median of
    y - slope · x (unit of y); they differ where the readings do not balance. `pairs` is the
    number of slopes of which the slope is the median.
    """

    slope: float
    low: float
    high: float
    intercept: float
    intercept_of_residuals: float
    pairs: int


def theil_sen(
    x: Sequence[float], y: Sequence[float], *, confidence: float = 0.95, phi: float = 0.0
) -> Line:
    """The median slope of all pairs with different x, with Sen's confidence interval.

    `x` and `y` are equally long, finite, in any order, and hold at least two different x.
    Ties in x and in y narrow the interval as in Kendall's variance. The interval takes the
    errors as independent; `phi`, their lag-one autocorrelation (0 to 0.99, see
    `autocorrelation`), widens it by √((1 + phi) / (1 - phi)). Breaks down at 29.3 % bad values.
    Cost n²/2: 200 readings have 19,900 slopes, where `wide_pair_slope` looks at 300.
    Raises OutOfRange. Source: Sen 1968, J. Am. Stat. Assoc. 63:1379; widening after Hamed and
    Rao 1998, J. Hydrology 204:182 (from memory).
    """
    _paired(x, y)
    within(confidence, 0.5, 0.9999, what="confidence")
    within(phi, 0, 0.99, what="phi")
    points = sorted(zip(x, y, strict=True))
    slopes = sorted((d - b) / (c - a) for (a, b), (c, d) in combinations(points, 2) if c != a)
    count, spread = len(slopes), math.sqrt(_kendall_variance(x, y) * (1 + phi) / (1 - phi))
    reach = NormalDist().inv_cdf((1 + confidence) / 2) * spread
    lowest = max(round((count - reach) / 2) - 1, 0)
    highest = min(round((count + reach) / 2), count - 1)
    return _line(x, y, statistics.median(slopes), slopes[lowest], slopes[highest], count)


def wide_pair_slope(x: Sequence[float], y: Sequence[float]) -> float:
    """A slope for every turn of the watch: pairs a third, half and two thirds of a window apart.

    `x` ascending, equally long as `y`, at least two different x; unit of y per unit of x. Takes
    1.5 n slopes in place of n²/2 and their median weighted by the distance in x. On Gaussian
    noise its error is about 1.1 times that of `theil_sen`; up to a fifth of the readings may be
    bad. Raises OutOfRange.
    Source: incomplete method of Theil 1950; weights of Jaeckel 1972, Ann. Math. Stat. 43:1449.
    """
    _paired(x, y)
    if any(later < earlier for earlier, later in pairwise(x)):
        raise OutOfRange("x: not in ascending order; sort the readings by time")
    n = len(x)
    gaps = {max(n // 3, 1), max(n // 2, 1), max(2 * n // 3, 1)}
    slopes = [
        ((y[i + gap] - y[i]) / (x[i + gap] - x[i]), x[i + gap] - x[i])
        for gap in gaps
        for i in range(n - gap)
        if x[i + gap] != x[i]
    ]
    return weighted_median(slopes) if slopes else theil_sen(x, y).slope


def weighted_median(weighted: Sequence[tuple[float, float]]) -> float:
    """The value at which half of the weight is reached; pairs of (value, weight > 0).

    Where exactly half lies below, the mean of the two values beside it. Raises OutOfRange.
    """
    if not weighted:
        raise OutOfRange("weighted median: no values; at least 1")
    for _, weight in weighted:
        above(weight, 0, what="weight")
    ordered = sorted(weighted)
    running = list(accumulate(weight for _, weight in ordered))
    half = running[-1] / 2
    at = bisect_left(running, half)
    if running[at] == half:
        return (ordered[at][0] + ordered[at + 1][0]) / 2
    return ordered[at][0]


@dataclass(frozen=True, slots=True)
class Trend:
    """Mann-Kendall: `s` is pairs that rise less pairs that fall, `p` the two-sided chance of
    so large an `s` without any trend; `p_rising` and `p_falling` are one-sided."""

    s: int
    p: float
    p_rising: float
    p_falling: float


def mann_kendall(values: Sequence[float]) -> Trend:
    """Is there a trend at all in equally spaced `values` (2 or more, finite, in time order)?

    Exact for up to 10 values without ties; beyond, the normal approximation with correction for
    ties and continuity (error of p below 0.01). Takes the values as independent, which raw
    temperatures are not. Raises OutOfRange.
    Source: Mann 1945, Econometrica 13:245; Kendall 1975, Rank Correlation Methods.
    """
    all_finite(values, 2, what="Mann-Kendall")
    s = sum((b > a) - (b < a) for a, b in combinations(values, 2))
    n = len(values)
    if n <= 10 and len(set(values)) == n:
        rising, falling = _exact_tail(n, s), _exact_tail(n, -s)
    else:
        spread = math.sqrt(_kendall_variance(range(n), values))
        rising, falling = _normal_tail(s, spread), _normal_tail(-s, spread)
    return Trend(s, min(1.0, 2 * min(rising, falling)), rising, falling)


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


def effective_count(n: int, phi: float) -> float:
    """How many independent readings n autocorrelated ones are worth: n (1 - phi) / (1 + phi).

    `n` 1 or more, `phi` -0.99 to 0.99. Raises OutOfRange.
    Source: Bayley and Hammersley 1946, J. R. Stat. Soc. Suppl. 8:184, long-series limit.
    """
    within(n, 1, math.inf, what="n")
    within(phi, -0.99, 0.99, what="phi")
    return n * (1 - phi) / (1 + phi)


def _paired(x: Sequence[float], y: Sequence[float]) -> None:
    all_finite(x, 2, what="x")
    all_finite(y, 2, what="y")
    if len(x) != len(y):
        raise OutOfRange(f"x and y: {len(x)} and {len(y)} values; equally many")
    if min(x) == max(x):
        raise OutOfRange(f"x: all values are {x[0]:g}; at least two different ones")


def _line(
    x: Sequence[float], y: Sequence[float], slope: float, low: float, high: float, pairs: int
) -> Line:
    balanced = statistics.median(y) - slope * statistics.median(x)
    residual = statistics.median(b - slope * a for a, b in zip(x, y, strict=True))
    return Line(slope, low, high, balanced, residual, pairs)


def _kendall_variance(x: Sequence[float], y: Sequence[float]) -> float:
    """Variance of Kendall's S without trend, less what ties in x and in y take away."""
    n = len(y)
    ties = sum(k * (k - 1) * (2 * k + 5) for series in (x, y) for k in Counter(series).values())
    return max(n * (n - 1) * (2 * n + 5) - ties, 0) / 18


def _normal_tail(s: int, spread: float) -> float:
    return 1 - NormalDist().cdf((s - 1) / spread) if spread > 0 else 1.0


def _exact_tail(n: int, s: int) -> float:
    """P(S >= s) over all n! orders; the count of inversions grows by one rank at a time."""
    counts = [1]
    for size in range(2, n + 1):
        wider = [0] * (len(counts) + size - 1)
        for i, count in enumerate(counts):
            for j in range(size):
                wider[i + j] += count
        counts = wider
    rises = (s + n * (n - 1) // 2) // 2
    return sum(counts[rises:]) / math.factorial(n)
