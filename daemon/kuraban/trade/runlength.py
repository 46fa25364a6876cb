"""How long until an alarm rings, by right and by mistake.

Two charts watch the difference between product and plan, in units of its standard deviation:

- CUSUM adds up what exceeds a slack k and signals beyond h (Page 1954). With k = half the shift
  to be found it is the fastest chart that there is for a given rate of false signals. Started at
  h/2 (the fast initial response of Lucas and Crosier 1982) it finds a fault that is already there.
- EWMA is an exponentially weighted mean with limits L · σ · √(λ / (2 - λ)) (Roberts 1959).

The mean number of readings to a signal, the run length L(u) from state u, obeys an integral
equation: one reading, plus the run length from wherever that reading leads. Gauss-Legendre nodes
turn it into linear equations; accuracy here is better than 1e-6 of the value for 40 nodes or more
at the limits that a brewery uses. All of it assumes independent Gaussian readings. Temperatures are
not: at an autocorrelation of 0.5 a CUSUM of h = 5 signals every 52 readings, not every 465, so
judge residuals, thin the readings, or choose the threshold by simulation.

The plain on-delay (n readings in a row beyond a limit) and the deadband have exact arithmetic too,
at the end of this file.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Literal

from kuraban.errors import OutOfRange
from kuraban.trade.limits import above, within
from kuraban.trade.solve import dot, gauss_legendre, rising_root, solve_renewal

Side = Literal["high", "low"]
"""On which side of its target a chart signals."""


@dataclass(frozen=True, slots=True)
class Cusum:
    """A two-sided CUSUM between readings, everything in standard deviations.

    `k` slack (0 or more), `h` threshold (> 0); `high` and `low` are the sums, 0 or more;
    `high_run` and `low_run` count the readings since each sum left zero, which dates the change.
    """

    k: float
    h: float
    high: float = 0.0
    low: float = 0.0
    high_run: int = 0
    low_run: int = 0

    def __post_init__(self) -> None:
        within(self.k, 0, math.inf, what="slack k", unit="σ")
        above(self.h, 0, what="threshold h", unit="σ")

    @property
    def signal(self) -> Side | None:
        """The side whose sum is beyond h, the larger one if both are, else None."""
        if max(self.high, self.low) <= self.h:
            return None
        return "high" if self.high >= self.low else "low"


def cusum_start(k: float, h: float, *, head_start: float = 0.0) -> Cusum:
    """A CUSUM before its first reading; `head_start` 0 to h in σ, h/2 for a fast first response.

    Raises OutOfRange. Source: Lucas and Crosier 1982, Technometrics 24:199.
    """
    within(head_start, 0, h, what="head start", unit="σ")
    return Cusum(k, h, head_start, head_start)


def cusum_step(chart: Cusum, z: float) -> Cusum:
    """The chart after one reading `z`, finite, in σ from target. Raises OutOfRange.

    Source: Page 1954, Biometrika 41:100, in the tabular form.
    """
    within(z, -math.inf, math.inf, what="reading", unit="σ")
    high = max(0.0, chart.high + z - chart.k)
    low = max(0.0, chart.low - z - chart.k)
    return replace(
        chart,
        high=high,
        low=low,
        high_run=chart.high_run + 1 if high > 0 else 0,
        low_run=chart.low_run + 1 if low > 0 else 0,
    )


@dataclass(frozen=True, slots=True)
class Ewma:
    """An EWMA between readings: `weight` λ (0 < λ <= 1) of the latest one, `limit` and `z` in σ."""

    weight: float
    limit: float
    z: float = 0.0

    def __post_init__(self) -> None:
        within(above(self.weight, 0, what="weight"), 0, 1, what="weight")
        above(self.limit, 0, what="limit", unit="σ")

    @property
    def signal(self) -> Side | None:
        """The side on which the mean is beyond the limit, else None."""
        if abs(self.z) <= self.limit:
            return None
        return "high" if self.z > 0 else "low"


def ewma_start(weight: float, width: float) -> Ewma:
    """An EWMA with the fixed limit `width` · √(λ / (2 - λ)); width L in σ of the mean, > 0.

    Raises OutOfRange. Source: Lucas and Saccucci 1990, Technometrics 32:1.
    """
    within(above(weight, 0, what="weight"), 0, 1, what="weight")
    return Ewma(weight, above(width, 0, what="width") * math.sqrt(weight / (2 - weight)))


def ewma_step(chart: Ewma, z: float) -> Ewma:
    """The chart after one reading `z`, finite, in σ from target. Raises OutOfRange."""
    within(z, -math.inf, math.inf, what="reading", unit="σ")
    return replace(chart, z=chart.z + chart.weight * (z - chart.z))


def siegmund_arl(k: float, h: float, shift: float = 0.0, *, sides: int = 2) -> float:
    """Run length of a CUSUM in closed form: readings, for shift in σ; k >= 0, h > 0, sides 1 or 2.

    For k = 0.5 and h = 5 it is 1 % high on target, 3 % low at a shift of 2 σ, 21 % low at 5 σ.
    Raises OutOfRange. Source: Siegmund 1985, Sequential Analysis, b = h + 1.166 (from memory).
    """
    _chart_arguments(k, h, shift, sides)
    upper = _siegmund(shift - k, h + 1.166)
    return upper if sides == 1 else _either(upper, _siegmund(-shift - k, h + 1.166))


def cusum_arl(
    k: float, h: float, shift: float = 0.0, *, head_start: float = 0.0, sides: int = 2
) -> float:
    """Mean readings to a signal of a CUSUM when the mean stands `shift` σ off target.

    `k` 0 to 10, `h` > 0 to 40, `head_start` 0 to h, all σ; `sides` 2, or 1 for the upper chart.
    Independent Gaussian readings. Error below 1e-6 of the value; beyond 1e9 readings: infinite.
    Raises OutOfRange. Source: integral equation as in Vance 1986, J. Quality Technology 18:189;
    sides combined after Lucas and Crosier 1982 (from memory).
    """
    _chart_arguments(k, h, shift, sides)
    within(head_start, 0, h, what="head start", unit="σ")
    from_start, from_zero = _one_sided(k, h, shift, head_start)
    if sides == 1:
        return from_start
    low_start, low_zero = _one_sided(k, h, -shift, head_start)
    if math.isinf(from_zero) or math.isinf(low_zero):
        return min(from_start, low_start)
    return (from_start * low_zero + low_start * from_zero - from_zero * low_zero) / (
        from_zero + low_zero
    )


def ewma_arl(weight: float, width: float, shift: float = 0.0) -> float:
    """Mean readings to a signal of a two-sided EWMA with fixed limits, started on target.

    `weight` 0.01 to 1, `width` L > 0 to 5, `shift` in σ of one reading. Independent Gaussian
    readings. Error below 1e-5 of the value.
    Raises OutOfRange. Source: Crowder 1987, Technometrics 29:401.
    """
    within(weight, 0.01, 1, what="weight")
    within(above(width, 0, what="width"), 0, 5, what="width")
    within(shift, -20, 20, what="shift", unit="σ")
    edge = ewma_start(weight, width).limit
    nodes, weights = gauss_legendre(-edge, edge, 40 + int(2.4 / weight**0.5) * 4)
    rows = [
        [
            w * _density((y - (1 - weight) * u) / weight - shift) / weight
            for y, w in zip(nodes, weights, strict=True)
        ]
        for u in [0.0, *nodes]
    ]
    lengths = solve_renewal(rows[1:])
    return 1 + dot(rows[0], lengths)


def threshold_for(arl0: float, k: float = 0.5) -> float:
    """The h of a two-sided CUSUM that signals falsely once in `arl0` readings on average.

    `arl0` 5 to 1e7 readings, `k` 0.1 to 3 σ; h within 1e-4.
    Raises OutOfRange. Source: `cusum_arl`, inverted.
    """
    within(arl0, 5, 1e7, what="run length", unit="readings")
    within(k, 0.1, 3, what="slack k", unit="σ")
    guess = rising_root(lambda h: math.log(siegmund_arl(k, h) / arl0), 1e-3, 39.0)
    low, high = max(guess - 0.6, 1e-3), min(guess + 0.6, 40.0)
    return rising_root(lambda h: math.log(cusum_arl(k, h) / arl0), low, high)


def chance_beyond(margin: float) -> float:
    """Chance that one Gaussian reading lies beyond a limit that is `margin` σ from the mean.

    Negative when the mean itself is beyond. 0 to 1. Raises OutOfRange.
    """
    within(margin, -math.inf, math.inf, what="margin", unit="σ")
    return 0.5 * math.erfc(margin / math.sqrt(2))


def false_alarm_share(p: float, n: int) -> float:
    """Share of the time falsely in alarm, p^n, with an on-delay of n readings and instant clear.

    `p` 0 to 1 the chance of one reading beyond the limit, readings independent, `n` 1 or more.
    Raises OutOfRange. Source: Adnan, Izadi and Chen 2011, J. Process Control 21:1318.
    """
    within(p, 0, 1, what="chance of a reading beyond the limit")
    within(n, 1, math.inf, what="readings in a row")
    return math.pow(p, n)


def readings_to_alarm(p: float, n: int) -> float:
    """Mean readings until n in a row lie beyond the limit: (1 - p^n) / ((1 - p) p^n).

    Infinite for p = 0, n for p = 1. Arguments, errors and source as in `false_alarm_share`.
    """
    share = false_alarm_share(p, n)
    if share == 0:
        return math.inf
    return float(n) if p == 1 else (1 - share) / ((1 - p) * share)


def readings_in_a_row(p: float, budget: float) -> int:
    """The shortest on-delay, in readings, that rings falsely no oftener than once in `budget`.

    `p` 0 to 0.99, `budget` 1 or more readings. Raises OutOfRange. Source: `readings_to_alarm`.
    """
    within(p, 0, 0.99, what="chance of a reading beyond the limit")
    within(budget, 1, 1e15, what="budget", unit="readings")
    n = 1
    while readings_to_alarm(p, n) < budget:
        n += 1
    return n


@dataclass(frozen=True, slots=True)
class Delayed:
    """A high limit with deadband and delays, between readings.

    Rings when `on` readings in a row exceed `limit`; clears when `off` in a row are at or below
    `limit - deadband`. `alarm` tells which it is; `count` is the run towards the change.
    """

    limit: float
    deadband: float = 0.0
    on: int = 1
    off: int = 1
    alarm: bool = False
    count: int = 0

    def __post_init__(self) -> None:
        within(self.deadband, 0, math.inf, what="deadband")
        within(min(self.on, self.off), 1, math.inf, what="readings in a row")


def delayed_step(state: Delayed, value: float) -> Delayed:
    """The limit after one reading, finite, in its unit; compare `alarm` before and after.

    Raises OutOfRange. Source: on-delay, off-delay and deadband of IEC 62682 and OPC 10000-9.
    """
    within(value, -math.inf, math.inf, what="reading")
    if state.alarm:
        moves, needed = value <= state.limit - state.deadband, state.off
    else:
        moves, needed = value > state.limit, state.on
    count = state.count + 1 if moves else 0
    if count < needed:
        return replace(state, count=count)
    return replace(state, alarm=not state.alarm, count=0)


def _chart_arguments(k: float, h: float, shift: float, sides: int) -> None:
    within(k, 0, 10, what="slack k", unit="σ")
    within(above(h, 0, what="threshold h", unit="σ"), 0, 40, what="threshold h", unit="σ")
    within(shift, -20, 20, what="shift", unit="σ")
    if sides not in (1, 2):
        raise OutOfRange(f"sides: {sides}; 1 or 2")


def _siegmund(drift: float, b: float) -> float:
    if abs(drift * b) < 1e-4:
        return b * b
    if -2 * drift * b > 700:
        return math.inf
    return (math.exp(-2 * drift * b) + 2 * drift * b - 1) / (2 * drift * drift)


def _either(a: float, b: float) -> float:
    return 1 / (1 / a + 1 / b)


@lru_cache(maxsize=256)
def _one_sided(k: float, h: float, shift: float, head_start: float) -> tuple[float, float]:
    """Run length of the upper chart from `head_start` and from zero; infinite beyond 1e9, where
    the equations lose their last digits."""
    if chance_beyond(k - shift) < 1e-9 or _siegmund(shift - k, h + 1.166) > 1e12:
        return math.inf, math.inf
    nodes, weights = gauss_legendre(0, h, 24 + 4 * math.ceil(h))

    def row(u: float) -> list[float]:
        drift = u + shift - k
        inner = [w * _density(y - drift) for y, w in zip(nodes, weights, strict=True)]
        return [chance_beyond(drift), *inner]

    lengths = solve_renewal([row(u) for u in [0.0, *nodes]])
    if not 1 <= lengths[0] <= 1e9:
        return math.inf, math.inf
    return 1 + dot(row(head_start), lengths), lengths[0]


def _density(z: float) -> float:
    return math.exp(-0.5 * z * z) / math.sqrt(2 * math.pi)
