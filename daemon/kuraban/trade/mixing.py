"""What temperature comes out when rice, koji, water and ice go in.

Parts mix at the mean of their temperatures weighted by heat capacity, mass times specific heat:

    T = Σ m c T / Σ m c

The starter rule of thumb is the same thing turned round: rice = water-koji + K · (target -
water-koji), K = the heat capacity of the whole over that of the rice. K = 3.5 is taught for a
starter (Nada Sake Research Group, "Shubo mashing"); it is 4 to 5 at soe, about 5.3 at naka and 5.7
at tome, because ever more liquid is there already. So at tome a degree in the rice moves the tank
by 0.18 K and a degree in the liquid by 0.82 K: watch the water.

The specific heat of rice is the weak point. Siebel's line and the sums of Choi and Okos differ by
7 to 34 %, most for dry grain; `STEAMED_RICE` lies between. The mixture also drifts for hours while
the cores of the grains cool or warm. Masses are kg, temperatures °C, specific heats J/kgK.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from kuraban.errors import OutOfRange
from kuraban.trade.limits import above, within

WATER = 4186.0
"""Specific heat of water near 15 °C, J/kgK; within 0.5 % from 2 to 60 °C (IAPWS)."""

MELTING = 333_600.0
"""Heat to melt a kg of ice at 0 °C, J (CRC Handbook, from memory)."""

STEAMED_RICE = 2600.0
"""Specific heat of steamed rice of 39 % water, J/kgK; 2140 to 2900 by formula (computed)."""

STEAMED_PER_WHITE = 1.38
"""kg of steamed, cooled rice from a kg of white rice (common practice)."""

LITRES_PER_KG_RICE = 1.05
"""Litres that a kg of white rice, steamed or as koji, adds to a mash (common practice: 105 %)."""

LABEL_KOJI_SHARE = 15.0
"""Least % of koji rice for the special designations (National Tax Agency labelling standard)."""


@dataclass(frozen=True, slots=True)
class Part:
    """Something that goes in: `kg` (0 or more), `specific_heat` J/kgK (> 0), `celsius` -5..110."""

    kg: float
    specific_heat: float
    celsius: float

    def __post_init__(self) -> None:
        within(self.kg, 0, math.inf, what="mass", unit="kg")
        above(self.specific_heat, 0, what="specific heat", unit="J/kgK")
        within(self.celsius, -5, 110, what="temperature", unit="°C")

    @property
    def capacity(self) -> float:
        """Heat capacity, J/K."""
        return self.kg * self.specific_heat


def mixed_temperature(parts: Sequence[Part], *, ice_kg: float = 0.0) -> float:
    """°C after `parts` (1 or more, some mass) and `ice_kg` of ice at 0 °C have mixed, all melted.

    No loss to the room, no heat of swelling. Raises OutOfRange, also for more ice than can melt.
    Source: conservation of energy.
    """
    within(ice_kg, 0, math.inf, what="ice", unit="kg")
    capacity = _capacity(parts) + ice_kg * WATER
    celsius = (_heat(parts) - ice_kg * MELTING) / capacity
    if ice_kg and celsius < -1e-9:
        raise OutOfRange(f"ice: {ice_kg:g} kg cannot all melt; at most {_heat(parts) / MELTING:g}")
    return celsius


def needed_temperature(
    parts: Sequence[Part], kg: float, specific_heat: float, target: float
) -> float:
    """°C that one more part (kg > 0, J/kgK > 0), rice or water, must have to reach `target` °C.

    Not limited to what is possible: an answer below 0 asks for ice. Raises OutOfRange.
    """
    more = above(kg, 0, what="mass", unit="kg") * above(
        specific_heat, 0, what="specific heat", unit="J/kgK"
    )
    return target + (target * _capacity(parts) - _heat(parts)) / more


def ice_needed(parts: Sequence[Part], target: float) -> float:
    """kg of ice at 0 °C that bring `parts` down to `target` (0 to 40 °C).

    0 where they are at it already or below. Raises OutOfRange. Source: conservation of energy.
    """
    within(target, 0, 40, what="target", unit="°C")
    surplus = _heat(parts) - target * _capacity(parts)
    return max(surplus, 0.0) / (MELTING + WATER * target)


def rice_temperature(target: float, water_koji: float, factor: float = 3.5) -> float:
    """°C that the steamed rice must have: water_koji + factor · (target - water_koji).

    `factor` 1 or more, 3.5 for a starter. Raises OutOfRange.
    Source: Nada Sake Research Group glossary, "Shubo mashing".
    """
    within(factor, 1, 100, what="factor")
    within(water_koji, -5, 60, what="water-koji temperature", unit="°C")
    within(target, -5, 60, what="target", unit="°C")
    return water_koji + factor * (target - water_koji)


def siebel(water_share: float) -> float:
    """Specific heat of a moist food above freezing, J/kgK, from its share of water by mass (0..1).

    7 to 34 % from `choi_okos` on rice, the drier the more. Raises OutOfRange.
    Source: Siebel 1892 (from memory): 837 + 3349 · w.
    """
    return 837 + 3349 * within(water_share, 0, 1, what="share of water")


def mash_litres(water_litres: float, rice_kg: float) -> float:
    """Litres of mash from water and white rice (koji rice included), each 0 or more.

    Within 5 % before the ferment has thinned it. Raises OutOfRange.
    Source: common practice.
    """
    within(water_litres, 0, math.inf, what="water", unit="L")
    within(rice_kg, 0, math.inf, what="rice", unit="kg")
    return water_litres + rice_kg * LITRES_PER_KG_RICE


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


def enough_koji_for_label(koji_rice_kg: float, rice_kg: float) -> bool:
    """Is the koji share at least the 15 % of the special designations (ginjo, junmai, honjozo)?

    Raises OutOfRange. Source: National Tax Agency, labelling standard for sake.
    """
    return koji_share(koji_rice_kg, rice_kg) >= LABEL_KOJI_SHARE


def _capacity(parts: Sequence[Part]) -> float:
    total = math.fsum(part.capacity for part in parts)
    return above(total, 0, what="heat capacity of the parts", unit="J/K")


def _heat(parts: Sequence[Part]) -> float:
    return math.fsum(part.capacity * part.celsius for part in parts)
