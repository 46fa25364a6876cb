"""Heat and water of a koji bed: what its own rise takes, what it burned, what left as vapour.

The mould burns starch with oxygen of the air: 162 g of it and 192 g of oxygen make 264 g of
carbonic gas and 90 g of water, which stays in the bed and dries out of it like the rest. So a bed
that became lighter lost less water than its weight says. The heat that it made went into its own
rise, off with the vapour, and, for the rest, to the room by touch and draught.

White rice has about 14 % of water. It weighs about 1.33 of itself steamed and dried as it goes into
the room, and 1.17 as koji (a published recipe for ginjo koji: 100, 141 steamed, 133 dried, 117
koji); about 5 % of its dry matter is burned on the way (common practice). Houses differ by 5 % in
these weights, and a lot dries and burns unevenly in time: figures below are good to 10 %, those
that rest on what was burned to 30 %.
"""

from __future__ import annotations

import math

from kuraban.trade.limits import above, within
from kuraban.trade.mixing import KOJI_PER_WHITE, choi_okos

STEAMED = 1.33
"""Weight of the rice in the bed by that of the white rice (common practice)."""
DRY = 0.86
"""Dry matter of white rice (common practice)."""
PROTEIN = 0.07
"""Protein in the dry matter (common practice)."""
BURNED = 0.05
"""Share of the dry matter that is burned until the koji goes out (common practice)."""
WATER_MADE = 90.08 / 162.14
"""kg of water made from a kg of starch: C6H10O5 + 6 O2 = 6 CO2 + 5 H2O."""
BED = 35.0
"""°C at which the bed's heat capacity is taken; ten degrees move it by 0.4 %."""
STARCH_HEAT = 17.5e6
"""J of a kg of starch burned (heat of combustion, textbook, from memory)."""


def evaporation_heat(celsius: float) -> float:
    """J to evaporate a kilogram of water at 0 to 100 °C, within 0.1 % up to 60, 0.7 % at 100.

    Raises OutOfRange. Source: 2501 - 2.36 kJ/(kg K) (Rogers and Yau 1989, from memory); checked
    against IAPWS by CoolProp.
    """
    within(celsius, 0, 100, what="temperature", unit="°C")
    return 2.501e6 - 2360.0 * celsius


def rise_watts(white_kg: float, rate: float, dried: float) -> float:
    """W that a bed's own rise takes up; negative while it cools.

    `white_kg` of white rice (> 0), `rate` in K an hour (-20 to 20), `dried` the share of its way
    from steamed rice to koji that it has gone, 0 to 1. Good to about ±10 %. Raises OutOfRange.
    Source: heat capacity by Choi and Okos 1986; weights common practice.
    """
    above(white_kg, 0, what="white rice", unit="kg")
    within(rate, -20, 20, what="rise", unit="K/h")
    within(dried, 0, 1, what="share dried")
    weight = STEAMED + dried * (KOJI_PER_WHITE - STEAMED)
    dry = DRY * (1 - dried * BURNED) / weight
    protein = PROTEIN * dry
    each = choi_okos(BED, water=1 - dry, carbohydrate=dry - protein, protein=protein)
    return white_kg * weight * each * rate / 3600


def burned_starch(kg_before: float, kg_after: float) -> float:
    """kg of starch burned in a bed between two weights of it, the first the greater (both > 0).

    In step with the loss of weight, as over the whole way; ±30 %. Raises OutOfRange.
    """
    above(kg_after, 0, what="weight after", unit="kg")
    within(kg_before, kg_after, math.inf, what="weight before", unit="kg")
    return (kg_before - kg_after) * DRY * BURNED / (STEAMED - KOJI_PER_WHITE)


def water_lost(kg_before: float, kg_after: float) -> float:
    """kg of water that left a bed between two weights of it: the loss less the starch that was
    burned, and more by the water that it became. Arguments and errors as in `burned_starch`."""
    burned = burned_starch(kg_before, kg_after)
    return kg_before - kg_after - burned * (1 - WATER_MADE)


def vapour_watts(kg_water: float, hours: float, celsius: float) -> float:
    """W that left with so much water (0 or more, kg) in so many hours (> 0), at the bed's °C.

    Raises OutOfRange.
    """
    within(kg_water, 0, math.inf, what="water", unit="kg")
    return kg_water * evaporation_heat(celsius) / (above(hours, 0, what="time", unit="h") * 3600)


def burned_watts(kg_starch: float, hours: float) -> float:
    """W made by so much starch (0 or more, kg) burned in so many hours (> 0). Raises OutOfRange."""
    within(kg_starch, 0, math.inf, what="starch", unit="kg")
    return kg_starch * STARCH_HEAT / (above(hours, 0, what="time", unit="h") * 3600)
