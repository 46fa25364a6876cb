"""Where heat comes from, where it goes, and how long that takes.

Fermentation makes about 24 kcal per mol of sugar (accepted in wine engineering: Colombié, Malherbe
and Sablayrolles 2007, Food Control 18:953): 557 kJ per kg of sugar, 1.09 MJ per kg of ethanol, 8.6
kJ for 1 % ABV in one litre; so 1 % ABV a day is about 100 W in a cubic metre of liquid. Hess's law
from pure substances gives a third less, because in a tank sugar and alcohol are dissolved; figures
near 54 kcal are free energies, not heats. Left alone, 1 % ABV warms a mash by about 2 K: a tank
drifts by 0.04 to 0.17 K/h, a whole night by one or two degrees.

Heats are J and W, volumes litres, rates of warming K/h.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from kuraban.trade.limits import above, all_finite, within

ETHANOL_HEAT = 24 * 4184 / (2 * 0.046068)
"""J per kg of ethanol made: 24 kcal per mol of sugar over two mol of ethanol."""

ETHANOL_DENSITY = 0.789
"""kg per litre of pure ethanol at 20 °C (CRC Handbook, from memory)."""

MASH_HEAT_CAPACITY = 3700.0
"""J per litre and K of mash, early and late alike (computed from its composition)."""

LIQUID_SHARE = 0.85
"""Share of a mash that is liquid, 0.80 to 0.90 (common practice)."""

BARE_STEEL = (5.0, 8.0)
"""W/m²K of a bare steel tank in still air (common practice)."""

INSULATED = (0.8, 1.2)
"""W/m²K of an insulated tank, about 1 (common practice)."""


def fermentation_watts(alcohol_per_day: float, litres: float, liquid_share: float) -> float:
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
    liquid_share: float,
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


def _hours(distance: float, rate: float) -> float:
    if distance == 0:
        return 0.0
    return distance / rate if distance * rate > 0 else math.inf
