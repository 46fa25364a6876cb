"""Spirit into a mash before it is pressed (aru-ten): how much, how strong it makes it, and the cap.

Alcohol is reckoned in litres of pure alcohol: litres times strength. Volumes are added up; alcohol
and water shrink as they mix, so the mash comes out a little stronger, by 0.1 % ABV at most where it
is spirit of 30 %. Of a mash only the liquid has a strength.

The labelling standard for sake lets the special designations have, by weight, at most a tenth of
the white rice in spirit, counted at 95 %: 116 L of pure alcohol a tonne. The house's own books
decide, not this.
"""

from __future__ import annotations

import math

from kuraban.trade.heat import LIQUID_SHARE
from kuraban.trade.limits import above, within
from kuraban.trade.liquids import STRONGEST, alcohol_density, by_mass

LABEL_SPIRIT = 0.10
"""Weight of spirit at `COUNTED_AT` by that of white rice, at most, for the special designations
(National Tax Agency, labelling standard for sake)."""
COUNTED_AT = 95.0
"""% ABV at which its weight is counted (National Tax Agency)."""


def pure_litres_allowed(rice_kg: float) -> float:
    """Litres of pure alcohol that the labelling standard allows for so much white rice (> 0 kg).

    Raises OutOfRange. Source: National Tax Agency, labelling standard; density by OIML R 22.
    """
    spirit = above(rice_kg, 0, what="white rice", unit="kg") * LABEL_SPIRIT
    litres = 1000 * spirit / alcohol_density(by_mass(COUNTED_AT), 15)
    return litres * COUNTED_AT / 100


def strength_after(mash: float, alcohol: float, spirit: float, percent: float) -> float:
    """% ABV of a mash of `alcohol` % (0 to 22) after `spirit` litres of `percent` % (> 0 to 96).

    `mash` and `spirit` in litres (> 0, 0 or more). ±0.3 % ABV by what of the mash is liquid. Raises
    OutOfRange. Source: conservation of alcohol, volumes added up.
    """
    liquid = above(mash, 0, what="mash", unit="L") * LIQUID_SHARE
    within(spirit, 0, math.inf, what="spirit", unit="L")
    _strengths(alcohol, percent)
    return (liquid * alcohol + spirit * percent) / (liquid + spirit)


def spirit_for(mash: float, alcohol: float, percent: float, target: float) -> float:
    """Litres of spirit that bring it to `target` % ABV, above `alcohol` and below `percent`.

    Arguments, error and source as in `strength_after`.
    """
    liquid = above(mash, 0, what="mash", unit="L") * LIQUID_SHARE
    _strengths(alcohol, percent)
    within(target, alcohol, STRONGEST, what="target", unit="%")
    return liquid * (target - alcohol) / above(percent - target, 0, what="spirit above the target")


def _strengths(alcohol: float, percent: float) -> None:
    within(alcohol, 0, STRONGEST, what="alcohol", unit="%")
    within(above(percent, 0, what="spirit", unit="%"), 0, 96, what="spirit", unit="%")
