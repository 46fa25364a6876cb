"""Where what goes into a tank lands, and how warm or how much must go in to land where it should.

The whole comes to rest at the mean of what was there and what goes in, weighted by heat capacity.
The figures leave a range: what the rice's kilograms mean and its specific heat, half a degree in a
water and a degree in rice, which is unevenly warm, and how many litres were there. The range of
rice is lopsided because Siebel's line and what was measured on milled rice lie below the figure
taken, Choi and Okos's. What the grains' cores still give off for hours is not in it.
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import product
from typing import NamedTuple

import msgspec

from kuraban.core import entries as e
from kuraban.core.plan.fill_level import litres_of
from kuraban.errors import OutOfRange
from kuraban.trade.heat import MASH_HEAT_CAPACITY
from kuraban.trade.mixing import (
    KOJI,
    KOJI_PER_WHITE,
    MELTING,
    SPIRIT,
    STEAMED_PER_WHITE,
    STEAMED_RICE,
    WATER,
    Part,
    ice,
    mixed_temperature,
    needed_amount,
    needed_temperature,
)

COLDEST, HOTTEST, RICE_HOTTEST = 0.0, 60.0, 45.0
"""°C to which water can be chilled, and which what goes in, and rice, do not exceed (common
practice)."""
OFF, OFF_RICE = 0.5, 1.0
"""K by which the temperature of what goes in may be off."""

Rice = tuple[float, float]
"""kg in the tank of a kilogram as weighed, and its J/kgK."""
Ends = tuple[Rice, Rice]

USUAL: Rice = (STEAMED_PER_WHITE, STEAMED_RICE)
LOGGED: Ends = ((1.0, 2140.0), (STEAMED_PER_WHITE, 2900.0))
"""The two ends of a kilogram as crews log it: weighed steamed and by Siebel's line, or white and
wetter than usual (common practice)."""
WHITE: Ends = ((1.35, 2140.0), (1.42, 2650.0))
"""The two ends of a kilogram of white rice: cooled dry and by Siebel's line, or hardly cooled and
by Choi and Okos (weights common practice)."""


class Corner(NamedTuple):
    """Where figures are open: the end of the litres, None their middle; the rice; colder or warmer
    than told, -1 to 1."""

    held: int | None
    rice: Rice
    off: int


class Expected(NamedTuple):
    """A figure, likely, and from least to most."""

    least: float
    likely: float
    most: float


class Mash(NamedTuple):
    """What was there before: °C, and litres from least to most. 0 L is an empty tank."""

    celsius: float
    litres: tuple[float, float]

    def part(self, end: int | None) -> Part:
        litres = sum(self.litres) / 2 if end is None else self.litres[end]
        return Part(litres * MASH_HEAT_CAPACITY, self.celsius)


EMPTY = Mash(0.0, (0.0, 0.0))


def part_of(addition: e.Addition, rice: Rice = USUAL, off: int = 0) -> Part | None:
    """What it brings in heat, None where its figures do not say. Alcohol is spirit of 30 %, which
    warms a mash by less than 0.1 K as it mixes; undiluted spirit does by more."""
    filled = litres_of(addition)
    if filled is None:
        return None
    if addition.what == "ice":
        return ice(filled if addition.kg is None else addition.kg, addition.celsius or 0.0)
    if addition.celsius is None:
        return None
    doubt = off * (OFF_RICE if addition.what == "rice" else OFF)
    return Part(_capacity(addition, filled, rice), addition.celsius + doubt)


def _capacity(addition: e.Addition, filled: float, rice: Rice) -> float:
    kg = addition.kg or 0.0
    match addition.what:
        case "rice":
            return kg * rice[0] * rice[1]
        case "water-koji":
            return (addition.litres or 0.0) * WATER + kg * KOJI_PER_WHITE * KOJI
        case "starter" | "yodan":
            return filled * MASH_HEAT_CAPACITY
        case "alcohol":
            return filled * SPIRIT
        case _:
            return filled * WATER


def expected(mash: Mash, additions: list[e.Addition]) -> Expected | None:
    """°C at which it lands. None where an addition lacks its figures or tells impossible ones, or
    where more ice goes in than can melt."""
    try:
        if not additions or any(part_of(addition) is None for addition in additions):
            return None
        return landing(mash, additions, LOGGED)
    except OutOfRange:
        return None


def landing(mash: Mash, additions: list[e.Addition], ends: Ends) -> Expected:
    """The same of additions with all their figures. OutOfRange for impossible ones."""
    return _over(ends, lambda at: mixed_temperature(_whole(mash, additions, at)))


def needed(
    mash: Mash, additions: list[e.Addition], last: e.Addition, target: float, ends: Ends = LOGGED
) -> Expected:
    """°C that `last` must have, whatever its own `celsius` says, so that all lands at `target`.

    `additions` are what else goes in, with all their figures. OutOfRange for impossible ones.
    """
    blind = msgspec.structs.replace(last, celsius=target)
    return _over(ends, lambda at: needed_temperature(
        _whole(mash, additions, at), _parts([blind], at)[0].capacity, target
    ))  # fmt: skip


def amount_for(
    mash: Mash, additions: list[e.Addition], unit: e.Addition, target: float, ends: Ends = LOGGED
) -> Expected:
    """How many times `unit`, with its °C, brings all of it to `target`; negative where it is past
    it. OutOfRange for impossible figures."""
    return _over(ends, lambda at: needed_amount(
        _whole(mash, additions, at), _parts([unit], at)[0], target
    ))  # fmt: skip


def ice_for(
    mash: Mash, additions: list[e.Addition], target: float, ends: Ends = LOGGED
) -> Expected:
    """kg of ice at 0 °C that bring all of it down to `target`, 0 where it is as cold already.
    OutOfRange for impossible figures."""
    found = amount_for(mash, additions, e.Addition(what="ice", kg=1.0), target, ends)
    return Expected(*(max(figure, 0.0) for figure in found))


def ice_instead(
    mash: Mash, additions: list[e.Addition], water: float, target: float, ends: Ends = LOGGED
) -> Expected:
    """kg of ice at 0 °C that bring all of it down to `target` where each takes the place of a litre
    of the additions' water, which has `water` °C. 0 where it is as cold already."""
    unit = Part(0.0, 0.0, MELTING + WATER * water)
    found = _over(ends, lambda at: needed_amount(_whole(mash, additions, at), unit, target))
    return Expected(*(max(figure, 0.0) for figure in found))


def share_of(mash: Mash, additions: list[e.Addition], one: e.Addition) -> float:
    """How far, K, a degree in this addition moves the whole."""
    usual = Corner(None, USUAL, 0)
    whole = sum(part.capacity for part in _whole(mash, additions, usual))
    return _parts([one], usual)[0].capacity / whole


def _over(ends: Ends, figure: Callable[[Corner], float]) -> Expected:
    """A figure in the middle of what the figures leave open, and at its ends."""
    corners = [figure(Corner(*each)) for each in product((0, 1), ends, (-1, 1))]
    return Expected(min(corners), figure(Corner(None, USUAL, 0)), max(corners))


def _whole(mash: Mash, additions: list[e.Addition], at: Corner) -> list[Part]:
    return [mash.part(at.held), *_parts(additions, at)]


def _parts(additions: list[e.Addition], at: Corner) -> list[Part]:
    """What goes in, of which the figures are known."""
    parts = (part_of(addition, at.rice, at.off) for addition in additions)
    return [part for part in parts if part is not None]
