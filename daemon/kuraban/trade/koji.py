"""Heat and water of a koji bed: what its own rise takes, and what it gave off as vapour.

A bed makes heat, keeps some of it as its own rise and gives the rest to the room, most of it with
the water that leaves it. The first part follows from weight and rise; the second from two weights.
What the bed gives to the room by touch is not measured, so the sum is the least that it makes.

Steamed rice weighs about 1.33 of the white rice as it goes in, and koji about 1.17 as it comes out
(a published recipe for ginjo koji: 100, 141 steamed, 133 dried, 117 koji).
"""

from __future__ import annotations

import math

from kuraban.trade.limits import above, within
from kuraban.trade.mixing import siebel

STEAMED, FINISHED = 1.33, 1.17
"""Weight of the rice in the bed, and of the koji, by that of the white rice (common practice)."""
WATER_STEAMED, WATER_FINISHED = 0.34, 0.27
"""Share of water in them: white rice has about 0.14 (common practice)."""


def evaporation_heat(celsius: float) -> float:
    """J to evaporate a kilogram of water at 0 to 100 °C, within 0.1 % up to 60, 0.7 % at 100.

    Raises OutOfRange. Source: 2501 - 2.36 kJ/(kg K) (Rogers and Yau 1989, from memory); checked
    against IAPWS by CoolProp.
    """
    within(celsius, 0, 100, what="temperature", unit="°C")
    return 2.501e6 - 2360.0 * celsius


def rise_watts(white_kg: float, rate: float, dried: float = 0.0) -> float:
    """W that a bed's own rise takes up; negative while it cools.

    `white_kg` of white rice (> 0), `rate` in K an hour (-20 to 20), `dried` the share of its way
    from steamed rice to koji that it has gone, 0 to 1. Good to about ±10 %: weight, water, Siebel's
    formula. Raises OutOfRange. Source: heat capacity by Siebel 1892; weights common practice.
    """
    above(white_kg, 0, what="white rice", unit="kg")
    within(rate, -20, 20, what="rise", unit="K/h")
    within(dried, 0, 1, what="share dried")
    weight = white_kg * (STEAMED + dried * (FINISHED - STEAMED))
    water = WATER_STEAMED + dried * (WATER_FINISHED - WATER_STEAMED)
    return weight * siebel(water) * rate / 3600


def water_lost(kg_before: float, kg_after: float, solids_share: float = 0.06) -> float:
    """kg of water that left a bed between two weights of it, the first the greater (both > 0).

    Some of the loss is starch that the mould burned: `solids_share` of it, 0 to 0.3, about 6 %
    (common practice). Raises OutOfRange.
    """
    above(kg_after, 0, what="weight after", unit="kg")
    within(kg_before, kg_after, math.inf, what="weight before", unit="kg")
    within(solids_share, 0, 0.3, what="share of starch in the loss")
    return (kg_before - kg_after) * (1 - solids_share)


def vapour_watts(kg_water: float, hours: float, celsius: float = 36.0) -> float:
    """W that left with so much water (0 or more, kg) in so many hours (> 0), at the bed's °C.

    Raises OutOfRange.
    """
    within(kg_water, 0, math.inf, what="water", unit="kg")
    return kg_water * evaporation_heat(celsius) / (above(hours, 0, what="time", unit="h") * 3600)
