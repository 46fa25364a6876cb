"""What warmth sake has had: the sum of it in store, and how long a heating held it hot.

Sake ripens faster the warmer it is stored, so houses compare tanks by degrees times days above a
base. A heating (hiire) kills what spoils sake and stops the koji's enzymes: 62 to 68 °C, held for
about an hour in the closed tank, then cooled quickly (Nada Sake Research Group glossary, "Hiire").

Times are seconds, ascending; temperatures °C.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import NamedTuple

from kuraban.errors import OutOfRange
from kuraban.trade.limits import above, all_finite

DAY = 86_400.0
LONGEST_GAP = DAY
"""Seconds between two readings over which a tank in store is still taken as known (common
practice: tanks are read once a day)."""


class Warmth(NamedTuple):
    """Degrees times days above the base, and the days for which readings tell it."""

    degree_days: float
    days: float


class Held(NamedTuple):
    """The highest °C, and the minutes at or above what was to be held."""

    highest: float
    minutes: float


def warmth(times: Sequence[float], celsius: Sequence[float], base: float = 0.0) -> Warmth:
    """What a tank had above `base` °C between its readings (2 or more), straight lines between.

    Nothing below the base is taken off; a gap longer than `LONGEST_GAP` counts for nothing. Raises
    OutOfRange. Source: degree days, by integration.
    """
    total = known = 0.0
    for (start, first), (end, last) in _steps(times, celsius):
        if end - start <= LONGEST_GAP:
            known += (end - start) / DAY
            total += _above(first - base, last - base) * (end - start) / DAY
    return Warmth(total, known)


def held(times: Sequence[float], celsius: Sequence[float], at_least: float) -> Held:
    """How hot it became and for how many minutes it was at `at_least` °C or more.

    2 or more readings, straight lines between. Raises OutOfRange.
    """
    seconds = 0.0
    for (start, first), (end, last) in _steps(times, celsius):
        seconds += (end - start) * _share(first - at_least, last - at_least)
    return Held(max(celsius), seconds / 60)


def _steps(
    times: Sequence[float], celsius: Sequence[float]
) -> list[tuple[tuple[float, float], tuple[float, float]]]:
    all_finite(times, 2, what="times")
    all_finite(celsius, 2, what="temperatures")
    if len(times) != len(celsius):
        raise OutOfRange(f"temperatures: {len(celsius)} for {len(times)} times; equally many")
    steps = list(pairwise(zip(times, celsius, strict=True)))
    for (start, _), (end, _) in steps:
        above(end - start, 0, what="step of time", unit="s")
    return steps


def _share(first: float, last: float) -> float:
    """How much of a straight line from `first` to `last` lies at or above zero."""
    if first >= 0 and last >= 0:
        return 1.0
    if first < 0 and last < 0:
        return 0.0
    return max(first, last) / abs(first - last)


def _above(first: float, last: float) -> float:
    """The mean of a straight line from `first` to `last`, what lies below zero taken as zero."""
    return _share(first, last) * (max(first, 0.0) + max(last, 0.0)) / 2
