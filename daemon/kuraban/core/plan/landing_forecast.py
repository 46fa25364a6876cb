"""Where what goes into a tank lands, and how warm it must be to land where it should.

The whole comes to rest at the mean of what was there and what goes in, weighted by heat capacity.
The figures leave a range: rice weighed white or steamed, the spread of its specific heat (Siebel's
line is the least), half a degree in a water and a degree in rice, which is unevenly warm, and how
many litres were there. What the grains' cores still give off for hours is not in it.
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
    STEAMED_PER_WHITE,
    STEAMED_RICE,
    WATER,
    Part,
    ice_needed,
    mixed_temperature,
    needed_temperature,
)

KOJI_PER_WHITE, KOJI_HEAT = 1.17, 2000.0
"""kg of koji from a kg of white rice, and its J/kgK (common practice)."""
OFF, OFF_RICE = 0.5, 1.0
"""K by which the temperature of what goes in may be off."""
RICE = ((1.0, 2140.0), (STEAMED_PER_WHITE, 2900.0))
"""The two ends of a kilogram of rice: weighed steamed and by Siebel's line, or white and wetter."""


_Corner = Callable[[int | None, int | None, int], float]
"""A figure at one end of what is open: of the litres, of the rice, and of the temperatures."""


class Heat(NamedTuple):
    """What an addition brings: J/K, °C, and kg of ice."""

    capacity: float
    celsius: float
    ice: float = 0.0


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
        return Part(litres, MASH_HEAT_CAPACITY, self.celsius)


EMPTY = Mash(0.0, (0.0, 0.0))


def heat_of(addition: e.Addition) -> Heat | None:
    """What it brings in heat, None where its figures do not say.

    Alcohol is left out: it warms the mash by mixing with it.
    """
    filled = litres_of(addition)
    if filled is None or addition.what == "alcohol":
        return None
    if addition.what == "ice":
        return Heat(0.0, 0.0, filled if addition.kg is None else addition.kg)
    if addition.celsius is None:
        return None
    return Heat(_capacity(addition, filled), addition.celsius)


def _capacity(addition: e.Addition, filled: float) -> float:
    kg = addition.kg or 0.0
    match addition.what:
        case "rice":
            return kg * STEAMED_PER_WHITE * STEAMED_RICE
        case "water-koji":
            return (addition.litres or 0.0) * WATER + kg * KOJI_PER_WHITE * KOJI_HEAT
        case "starter" | "yodan":
            return filled * MASH_HEAT_CAPACITY
        case _:
            return filled * WATER


def expected(mash: Mash, additions: list[e.Addition]) -> Expected | None:
    """°C at which it lands. None where an addition lacks its figures or tells impossible ones, or
    where more ice goes in than can melt."""
    heats = [heat_of(addition) for addition in additions]
    if not heats or any(heat is None for heat in heats):
        return None
    ice = sum(heat.ice for heat in heats if heat is not None)
    try:
        return _over(lambda held, rice, off: mixed_temperature(
            [mash.part(held), *_parts(additions, rice, off)], ice_kg=ice
        ))  # fmt: skip
    except OutOfRange:
        return None


def needed(mash: Mash, additions: list[e.Addition], last: e.Addition, target: float) -> Expected:
    """°C that `last` must have, whatever its own `celsius` says, so that all lands at `target`.

    `additions` are what else goes in, with all their figures. OutOfRange for impossible ones.
    """
    blind = msgspec.structs.replace(last, celsius=target)

    def need(held: int | None, rice: int | None, off: int) -> float:
        (part,) = _parts([blind], rice, 0)
        return needed_temperature(
            [mash.part(held), *_parts(additions, rice, off)], part.kg, 1.0, target
        )

    return _over(need)


def ice_for(mash: Mash, additions: list[e.Addition], target: float) -> Expected:
    """kg of ice at 0 °C that bring all of it down to `target`. OutOfRange for impossible ones."""
    return _over(lambda held, rice, off: ice_needed(
        [mash.part(held), *_parts(additions, rice, off)], target
    ))  # fmt: skip


def share_of(mash: Mash, additions: list[e.Addition], one: e.Addition) -> float:
    """How far, K, a degree in this addition moves the whole."""
    whole = [mash.part(None), *_parts(additions, None, 0)]
    return _parts([one], None, 0)[0].kg / sum(part.capacity for part in whole)


def _over(figure: _Corner) -> Expected:
    """A figure in the middle of what the figures leave open, and at its ends."""
    corners = [figure(*corner) for corner in product((0, 1), (0, 1), (-1, 1))]
    return Expected(min(corners), figure(None, None, 0), max(corners))


def _parts(additions: list[e.Addition], rice: int | None, off: int) -> list[Part]:
    """What goes in, ice aside; `rice` is an end of `RICE`, `off` -1 for colder than logged."""
    parts = []
    for addition in additions:
        heat = heat_of(addition)
        if heat is None or heat.ice:
            continue
        is_rice = addition.what == "rice"
        share, doubt = 1.0, off * (OFF_RICE if is_rice else OFF)
        if is_rice and rice is not None:
            mass, specific = RICE[rice]
            share = mass * specific / (STEAMED_PER_WHITE * STEAMED_RICE)
        parts.append(Part(heat.capacity * share, 1.0, heat.celsius + doubt))
    return parts
