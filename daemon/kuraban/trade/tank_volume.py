"""Room in a tank: litres by dip, how high the surface will stand, and what foam needs above it.

A dip is read from the rim down to the surface, cm, as calibrated tanks are read, and nobody leans
in over the mash for it. Litres in between lie on a straight line. An upright tank that nobody has
calibrated is taken for a cylinder; bulges, coils and a sloping bottom are not in it.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from kuraban.errors import OutOfRange
from kuraban.trade.limits import above
from kuraban.trade.numerics import on_line

Dips = Sequence[tuple[float, float]]
"""cm from the rim down, ascending, and the litres in the tank then, falling."""

FOAM = (0.5, 0.75)
"""Share of a tank beyond which the high foam of a foaming yeast may run over, and beyond which it
will: half to two thirds are used (Sake Street 2024, "Non-foaming yeast"), three quarters (Gauntner,
Sake World no. 81, 2006)."""

RISE = 0.05
"""Share by which a mash stands higher while gas is held in it (common practice)."""


class Room(NamedTuple):
    """`left` litres to the brim once the mash has risen, below 0 where it runs over; `foaming` the
    most litres, before the rise, that a foaming yeast leaves room above, sure and at best."""

    left: float
    foaming: tuple[float, float]


def room(brim: float, litres: float) -> Room:
    """Room above `litres` (0 or more) in a tank that holds `brim` (> 0). Raises OutOfRange."""
    above(brim, 0, what="litres of the tank", unit="L")
    return Room(brim - (1 + RISE) * litres, (FOAM[0] * brim, FOAM[1] * brim))


def upright(height: float, brim: float) -> tuple[tuple[float, float], ...]:
    """The dips of a cylinder of `height` cm and `brim` litres, both above 0. Raises OutOfRange."""
    above(height, 0, what="height of the tank", unit="cm")
    return (0.0, above(brim, 0, what="litres of the tank", unit="L")), (height, 0.0)


def litres_at(dips: Dips, cm: float) -> float:
    """Litres in the tank where the surface is `cm` below the rim. Raises OutOfRange beside it."""
    litres = on_line(dips, cm)
    if litres is None:
        raise OutOfRange(f"dip: {cm:g} cm is not possible; {dips[0][0]:g} to {dips[-1][0]:g} cm")
    return litres


def dip_at(dips: Dips, litres: float) -> float | None:
    """cm below the rim at which so many litres stand; None beside what the dips say."""
    return on_line([(held, cm) for cm, held in reversed(dips)], litres)
