"""What temperature comes out when rice, koji, water and ice go in.

Parts mix at the mean of their temperatures weighted by heat capacity, less what melting takes:

    T = Σ (C T - L) / Σ C

The starter rule of thumb is the same thing turned round: rice = water-koji + K · (target -
water-koji), K = the heat capacity of the whole over that of the rice. K = 3.5 is taught for a
starter (Nada Sake Research Group, "Shubo mashing"). It grows with every addition, because ever more
liquid is there already: by a fifth to a third at soe, to more than five at naka and tome. So at
tome a degree in the rice moves the tank by 0.18 K and a degree in the liquid by 0.82 K: watch the
water.

The specific heat of rice is the weak point: at 39 % of water Choi and Okos give 2600 J/kgK, Siebel
2140. The mixture also drifts for hours while the cores of the grains cool or warm. Masses are kg,
temperatures °C, heat capacities J/K.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from kuraban.errors import OutOfRange
from kuraban.trade.limits import above, within

WATER = 4186.0
"""Specific heat of water near 15 °C, J/kgK; within 0.5 % from 5 to 60 °C, 0.7 % at 2 (IAPWS)."""

ICE, MELTING = 2100.0, 333_600.0
"""Specific heat of ice near 0 °C, J/kgK, and heat to melt a kg of it, J (CRC, from memory)."""

STEAMED_RICE = 2600.0
"""Specific heat of steamed rice of 39 % water, J/kgK (Choi and Okos)."""

STEAMED_PER_WHITE, KOJI_PER_WHITE = 1.38, 1.17
"""kg of steamed, cooled rice, and of koji, from a kg of white rice (common practice)."""

KOJI = 2385.0
"""Specific heat of koji of 30 % water, J/kgK (Choi and Okos)."""

SPIRIT = 4140.0
"""J/K of a litre of 30 % spirit: 0.9646 kg (OIML R 22) at 4290 J/kgK (Melinder 2010)."""

LITRES_PER_KG_RICE = 1.05
"""Litres that a kg of white rice, steamed or as koji, adds to a mash (common practice: 105 %)."""

LABEL_KOJI_SHARE = 15.0
"""Least % of koji rice for the special designations (National Tax Agency labelling standard)."""

STARTER_RULE = 3.5
"""K taught for a starter (Nada Sake Research Group glossary, "Shubo mashing")."""


@dataclass(frozen=True, slots=True)
class Part:
    """Something that goes in: `capacity` J/K (0 or more), `celsius` -5 to 110, `latent` J that it
    takes up by melting (0 or more)."""

    capacity: float
    celsius: float
    latent: float = 0.0

    def __post_init__(self) -> None:
        within(self.capacity, 0, math.inf, what="heat capacity", unit="J/K")
        within(self.celsius, -5, 110, what="temperature", unit="°C")
        within(self.latent, 0, math.inf, what="heat of melting", unit="J")

    @property
    def heat(self) -> float:
        """J above water of 0 °C."""
        return self.capacity * self.celsius - self.latent


def ice(kg: float, celsius: float = 0.0) -> Part:
    """Ice of `celsius`, -30 to 0: it warms to 0 °C, melts, and is water. Raises OutOfRange."""
    within(celsius, -30, 0, what="ice temperature", unit="°C")
    return Part(kg * WATER, 0.0, kg * (MELTING - ICE * celsius))


def mixed_temperature(parts: Sequence[Part]) -> float:
    """°C after `parts` (1 or more, some heat capacity) have mixed, all ice melted.

    No loss to the room, no heat of swelling. Raises OutOfRange, also for more ice than can melt.
    Source: conservation of energy.
    """
    celsius = _heat(parts) / _capacity(parts)
    if celsius < -1e-9 and any(part.latent for part in parts):
        raise OutOfRange("ice: there is more of it than can melt; take less")
    return celsius


def needed_temperature(parts: Sequence[Part], capacity: float, target: float) -> float:
    """°C that one more part of `capacity` J/K (> 0) must have to bring `parts` to `target` °C.

    Not limited to what is possible: an answer below 0 asks for ice. Raises OutOfRange.
    """
    above(capacity, 0, what="heat capacity", unit="J/K")
    return target + (target * _capacity(parts) - _heat(parts)) / capacity


def needed_amount(parts: Sequence[Part], unit: Part, target: float) -> float:
    """How many times `unit` brings `parts` to `target` °C; negative where they are past it.

    Raises OutOfRange for a unit that is at the target itself. Source: conservation of energy.
    """
    each = unit.capacity * target - unit.heat
    if not each:
        raise OutOfRange(f"target: {target:g} °C is its own temperature; no amount of it helps")
    return (_heat(parts) - target * _capacity(parts)) / each


def rice_by_rule(target: float, water_koji: float) -> float:
    """°C that a starter's steamed rice must have by the rule of `STARTER_RULE`.

    Both -5 to 60 °C. Raises OutOfRange. Source: Nada Sake Research Group, "Shubo mashing".
    """
    within(water_koji, -5, 60, what="water-koji temperature", unit="°C")
    return water_koji + STARTER_RULE * (within(target, -5, 60, what="target") - water_koji)


def choi_okos(celsius: float, *, water: float, carbohydrate: float, protein: float) -> float:
    """Specific heat of a food, J/kgK, from shares by mass that sum to 1, at 0 to 100 °C.

    Raises OutOfRange. Source: Choi and Okos 1986, as in ASHRAE Refrigeration, "Thermal properties
    of foods" (from memory).
    """
    t = within(celsius, 0, 100, what="temperature", unit="°C")
    for share in (water, carbohydrate, protein):
        within(share, 0, 1, what="share")
    within(water + carbohydrate + protein, 0.999, 1.001, what="sum of the shares")
    return 1000 * (
        water * (4.1762 - 9.0864e-5 * t + 5.4731e-6 * t * t)
        + carbohydrate * (1.5488 + 1.9625e-3 * t - 5.9399e-6 * t * t)
        + protein * (2.0082 + 1.2089e-3 * t - 1.3129e-6 * t * t)
    )


def mash_litres(water_litres: float, rice_kg: float) -> float:
    """Litres of mash from water and white rice (koji rice included), each 0 or more.

    Within 5 % before the ferment has thinned it. Raises OutOfRange. Source: common practice.
    """
    within(water_litres, 0, math.inf, what="water", unit="L")
    return water_litres + within(rice_kg, 0, math.inf, what="rice", unit="kg") * LITRES_PER_KG_RICE


def swelling(mash: float, water: float, rice_kg: float) -> float:
    """The measuring check after tome (tome-soku), %: (litres of mash - of water) / kg of rice.

    About 105. Raises OutOfRange for mash < water or no rice. Source: common practice.
    """
    within(water, 0, mash, what="water in this mash", unit="L")
    return 100 * (mash - water) / above(rice_kg, 0, what="rice", unit="kg")


def koji_share(koji_rice_kg: float, rice_kg: float) -> float:
    """% of the white rice that was made into koji; `rice_kg` is all of it, koji included (> 0).

    Raises OutOfRange for more koji than rice.
    """
    above(rice_kg, 0, what="rice", unit="kg")
    return 100 * within(koji_rice_kg, 0, rice_kg, what="koji rice", unit="kg") / rice_kg


def _capacity(parts: Sequence[Part]) -> float:
    total = math.fsum(part.capacity for part in parts)
    return above(total, 0, what="heat capacity of the parts", unit="J/K")


def _heat(parts: Sequence[Part]) -> float:
    return math.fsum(part.heat for part in parts)
