"""Where heat comes from, where it goes, and how long that takes.

A body in its surroundings follows Newton: T(t) = T∞ + (T0 - T∞) · exp(-t / τ), τ = heat capacity
/ (U · area). It holds for a stirred tank and, roughly, for a probe: real sheathed probes are not
of pure first order (their times to 90 % and 50 % stand as 1.5 to 2.6, not 3.32).

Fermentation makes about 24 kcal per mol of sugar (accepted in wine engineering: Colombié, Malherbe
and Sablayrolles 2007, Food Control 18:953): 557 kJ per kg of sugar, 1.09 MJ per kg of ethanol, 8.6
kJ for 1 % ABV in one litre; so 1 % ABV a day is about 100 W in a cubic metre of liquid. Hess's law
from pure substances gives a third less, because in a tank sugar and alcohol are dissolved; figures
near 54 kcal are free energies, not heats. Left alone, 1 % ABV warms a mash by about 2 K: a tank
drifts by 0.04 to 0.17 K/h, a whole night by one or two degrees. Growing koji breathes instead of
fermenting, up to 7 K/h: there minutes matter.

Heats are J and W, masses kg, volumes litres, rates of warming K/h, times seconds except where a
name says hours.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from kuraban.errors import OutOfRange
from kuraban.trade.limits import above, all_finite, within

SUGAR_HEAT = 24 * 4184 / 0.180156
"""J per kg of glucose fermented: 24 kcal/mol (Colombié et al. 2007)."""

ETHANOL_HEAT = 24 * 4184 / (2 * 0.046068)
"""J per kg of ethanol made: the same 24 kcal over two mol of ethanol."""

ETHANOL_DENSITY = 0.789
"""kg per litre of pure ethanol at 20 °C (CRC Handbook, from memory)."""

RESPIRATION_HEAT = 15.56e6
"""J per kg of glucose burnt by koji: 2803 kJ/mol (textbook, from memory)."""

MASH_HEAT_CAPACITY = 3700.0
"""J per litre and K of mash, early and late alike (computed from its composition)."""

LIQUID_SHARE = 0.85
"""Share of liquid in a mash by volume, 0.80 to 0.90 (computed from its composition)."""

BARE_STEEL = (5.0, 8.0)
"""W/m²K of a bare steel tank in still air (common practice)."""

INSULATED = (0.8, 1.2)
"""W/m²K of an insulated tank, about 1 (common practice)."""


def approach(start: float, surroundings: float, tau: float, after: float) -> float:
    """Temperature, °C, `after` seconds (0 or more) with time constant `tau` seconds (> 0).

    Raises OutOfRange. Source: lumped heat capacity, Incropera ch. 5, for Biot numbers below 0.1.
    """
    above(tau, 0, what="time constant", unit="s")
    within(after, 0, math.inf, what="time", unit="s")
    return surroundings + (start - surroundings) * math.exp(-after / tau)


def time_to_reach(start: float, surroundings: float, target: float, tau: float) -> float:
    """Seconds until `target` °C is reached on the way from `start` to `surroundings`.

    Raises OutOfRange where the target is not on the way; the surroundings themselves are never
    reached. Source: as `approach`.
    """
    above(tau, 0, what="time constant", unit="s")
    gone = (target - surroundings) / (start - surroundings) if start != surroundings else 0.0
    if not 0 < gone <= 1:
        raise OutOfRange(
            f"target: {target:g} °C is not on the way from {start:g} to {surroundings:g} °C"
        )
    return -tau * math.log(gone)


def time_constant(heat_capacity: float, u_value: float, area: float) -> float:
    """τ in seconds from J/K, W/m²K and m², all > 0. Raises OutOfRange. Source: as `approach`."""
    above(heat_capacity, 0, what="heat capacity", unit="J/K")
    above(u_value, 0, what="U value", unit="W/m²K")
    return heat_capacity / (u_value * above(area, 0, what="area", unit="m²"))


def time_constant_between(start: float, later: float, surroundings: float, elapsed: float) -> float:
    """τ in seconds from two readings `elapsed` seconds apart and the surroundings, all °C.

    Raises OutOfRange where the second is not nearer the surroundings on the same side.
    """
    above(elapsed, 0, what="elapsed time", unit="s")
    gone = (later - surroundings) / (start - surroundings) if start != surroundings else 1.0
    if not 0 < gone < 1:
        raise OutOfRange(f"readings: {later:g} °C is not between {start:g} and {surroundings:g} °C")
    return -elapsed / math.log(gone)


def ramp_lag(rate: float, tau: float) -> float:
    """How far, K, a probe of time constant `tau` trails a steady `rate` in K per the same unit.

    Raises OutOfRange for tau < 0. Source: steady state of `approach`.
    """
    return rate * within(tau, 0, math.inf, what="time constant")


@dataclass(frozen=True, slots=True)
class Approach:
    """A fitted approach: `start` at the first reading and `end` in °C, `tau` s, `rmse` K."""

    start: float
    end: float
    tau: float
    rmse: float


def fit_approach(times: Sequence[float], celsius: Sequence[float]) -> Approach:
    """Least-squares fit of one exponential approach to 4 or more readings.

    `times` in seconds, ascending. For each τ the rest is linear; the best τ is looked for from a
    tenth of the mean step to 30 times the span, to 1e-6 of itself. A τ at an end of that range
    means that the readings are a step or a straight line. Raises OutOfRange for too few readings,
    times that do not ascend, or readings all equal.
    """
    all_finite(times, 4, what="times")
    all_finite(celsius, 4, what="readings")
    if len(times) != len(celsius) or any(b <= a for a, b in pairwise(times)):
        raise OutOfRange("times: one for each reading, in ascending order")
    if min(celsius) == max(celsius):
        raise OutOfRange(f"readings: all are {celsius[0]:g} °C; an approach has to move")
    elapsed = [time - times[0] for time in times]
    span = elapsed[-1]
    best = _lowest(
        lambda log_tau: _fit_at(elapsed, celsius, math.exp(log_tau)).rmse,
        math.log(span / (10 * len(times))),
        math.log(30 * span),
    )
    return _fit_at(elapsed, celsius, math.exp(best))


def sugar_watts(kg_per_day: float, joules_per_kg: float = SUGAR_HEAT) -> float:
    """W from sugar used up, kg/day (0 or more); koji takes `RESPIRATION_HEAT`. Raises OutOfRange.

    Source: Colombié et al. 2007; brewers' 586 kJ per kg of extract (Kunze, from memory) is
    5 % more.
    """
    within(kg_per_day, 0, math.inf, what="sugar", unit="kg/day")
    return kg_per_day * above(joules_per_kg, 0, what="heat", unit="J/kg") / 86_400


def fermentation_watts(alcohol_per_day: float, litres: float, liquid_share: float = 1.0) -> float:
    """W made by `alcohol_per_day` % ABV a day (0 to 5) in `litres` (> 0) of mash.

    `liquid_share` 0.5 to 1: alcohol is measured in the liquid alone. About 100 W per m³ of liquid
    and %/day, ±3 %. Raises OutOfRange. Source: Colombié et al. 2007.
    """
    within(alcohol_per_day, 0, 5, what="alcohol", unit="%/day")
    within(liquid_share, 0.5, 1, what="share of liquid")
    ethanol = alcohol_per_day / 100 * above(litres, 0, what="volume", unit="L") * ETHANOL_DENSITY
    return ethanol * liquid_share * ETHANOL_HEAT / 86_400


def tank_surface(litres: float) -> float:
    """m² of a closed upright tank as high as wide, the least surface of its volume (> 0 L).

    Tanks of other shapes have up to 15 % more. Raises OutOfRange. Source: geometry.
    """
    across = math.cbrt(4 * above(litres, 0, what="volume", unit="L") / 1000 / math.pi)
    return 1.5 * math.pi * across * across


def warming_rate(
    alcohol_per_day: float,
    litres: float,
    *,
    product: float,
    room: float,
    u_value: float,
    liquid_share: float = LIQUID_SHARE,
) -> float:
    """K/h at which an uncooled tank warms (negative: cools), from its ferment and its room.

    `product` and `room` -10 to 60 °C, `u_value` 0 to 20 W/m²K (`BARE_STEEL`, `INSULATED`). Within
    a third: the ferment speeds up by 7 to 12 % a degree, some heat leaves with the gas. Raises
    OutOfRange. Source: computed; no published figure for sake was found.
    """
    within(product, -10, 60, what="product temperature", unit="°C")
    within(room, -10, 60, what="room temperature", unit="°C")
    within(u_value, 0, 20, what="U value", unit="W/m²K")
    made = fermentation_watts(alcohol_per_day, litres, liquid_share)
    leaked = u_value * tank_surface(litres) * (room - product)
    return (made + leaked) * 3600 / (litres * MASH_HEAT_CAPACITY)


@dataclass(frozen=True, slots=True)
class Hours:
    """A range of hours from now: `soonest` is the pessimistic end; infinite means never."""

    soonest: float
    latest: float


def hours_until(now: float, limit: float, rates: Sequence[float]) -> Hours:
    """Hours until a tank at `now` °C reaches `limit` °C, above or below, over all `rates` in K/h.

    Straight lines; 1 or more rates. A rate that leads away, or zero, never reaches it. Already at
    the limit is 0. Raises OutOfRange.
    """
    all_finite((now, limit), 2, what="temperatures")
    all_finite(rates, 1, what="rates")
    hours = [_hours(limit - now, rate) for rate in rates]
    return Hours(min(hours), max(hours))


def cooling_duty(kg_per_second: float, specific_heat: float, kelvin: float) -> float:
    """W carried by a flow (0 or more kg/s) of `specific_heat` J/kgK that changes by `kelvin`.

    Negative where `kelvin` is. Raises OutOfRange. Source: Q = ṁ · c · ΔT.
    """
    within(kg_per_second, 0, math.inf, what="flow", unit="kg/s")
    return kg_per_second * above(specific_heat, 0, what="specific heat", unit="J/kgK") * kelvin


def flow_for(watts: float, specific_heat: float, kelvin: float) -> float:
    """kg/s needed to carry `watts` (0 or more) with a change of `kelvin` (> 0).

    `specific_heat` in J/kgK. Raises OutOfRange. Source: as `cooling_duty`.
    """
    within(watts, 0, math.inf, what="heat", unit="W")
    each = above(specific_heat, 0, what="specific heat", unit="J/kgK")
    return watts / (each * above(kelvin, 0, what="temperature difference", unit="K"))


def _hours(distance: float, rate: float) -> float:
    if distance == 0:
        return 0.0
    return distance / rate if distance * rate > 0 else math.inf


def _fit_at(elapsed: Sequence[float], celsius: Sequence[float], tau: float) -> Approach:
    """The best start and end for a given tau: a straight line in exp(-t / tau)."""
    left = [math.exp(-time / tau) for time in elapsed]
    n = len(left)
    mean_left, mean = math.fsum(left) / n, math.fsum(celsius) / n
    power = math.fsum((x - mean_left) ** 2 for x in left)
    shared = math.fsum((x - mean_left) * (y - mean) for x, y in zip(left, celsius, strict=True))
    span = shared / power
    end = mean - span * mean_left
    square = math.fsum((y - end - span * x) ** 2 for x, y in zip(left, celsius, strict=True))
    return Approach(end + span, end, tau, math.sqrt(square / n))


def _lowest(f: Callable[[float], float], low: float, high: float) -> float:
    """Where f is least: the best of 60 points, then a golden section between its neighbours."""
    step = (high - low) / 60
    best = min((low + i * step for i in range(61)), key=f)
    low, high, golden = best - step, best + step, (math.sqrt(5) - 1) / 2
    while high - low > 1e-7:
        a, b = high - golden * (high - low), low + golden * (high - low)
        low, high = (low, b) if f(a) < f(b) else (a, high)
    return (low + high) / 2
