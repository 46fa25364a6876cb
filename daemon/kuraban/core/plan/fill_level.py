"""What is in a tank: litres by the additions that were logged.

The kilograms of an addition of rice are white rice, as recipes count it; those of a water-koji are
its koji rice. So much white rice, steamed or as koji, makes 1.05 L of mash a kilogram. The sum is
good to about 5 % and is unknown as soon as an addition came without its figures, after a split, or
in a batch that was taken over in the middle. What the figures mean is common practice.
"""

from __future__ import annotations

from kuraban.core import entries as e
from kuraban.core.facts import Logged
from kuraban.core.plan.plan_view import EntryLogView
from kuraban.core.site import Place
from kuraban.core.units import HOUR
from kuraban.trade.mixing import LITRES_PER_KG_RICE
from kuraban.trade.tank_volume import upright

STARTER_KG = 1.1
"""kg of a litre of starter (common practice)."""
TRACES = ("lactic-acid", "yeast")
TAKEN_OVER = 1 * HOUR
"""A batch that began this long before it was logged has a past that nobody logged."""


def litres_of(addition: e.Addition) -> float | None:
    """By how many litres it fills the tank, None where its figures are missing."""
    kg, litres = addition.kg, addition.litres
    match addition.what:
        case "lactic-acid" | "yeast":
            return litres or 0.0
        case "rice":
            return None if kg is None else kg * LITRES_PER_KG_RICE
        case "water-koji":
            return None if litres is None else litres + (kg or 0.0) * LITRES_PER_KG_RICE
        case "starter":
            return litres if litres is not None or kg is None else kg / STARTER_KG
        case _:
            return litres if litres is not None else kg


def litres_in(entry_log: EntryLogView, place: str, now: float) -> float | None:
    """Litres in a place by what was logged, None where that does not say."""
    filled: dict[str, float | None] = {}
    counted: set[str] = set()
    for logged in entry_log.counting():
        if logged.at <= now:
            _fill(filled, counted, logged)
    return filled.get(place) if place in counted else None


def _fill(filled: dict[str, float | None], counted: set[str], logged: Logged) -> None:
    """One entry's effect on what stands where. `counted` are places with a logged addition."""
    place, entry = logged.subject, logged.entry
    match entry:
        case e.BatchStart(since=since, stage=stage):
            began = logged.at if since is None else float(since)
            whole = stage is None or logged.at - began <= TAKEN_OVER
            filled[place] = filled.get(place, 0.0) if whole else None
        case e.Addition():
            known, more = filled.get(place, 0.0), litres_of(entry)
            filled[place] = None if known is None or more is None else known + more
            if entry.what not in TRACES:
                counted.add(place)
        case e.Press(rest=True):
            filled[place] = None
        case e.BatchEnd() | e.Press():
            filled[place] = 0.0
            counted.discard(place)
        case e.Move(to=to):
            _pour(filled, counted, place, to, filled.get(place))
        case e.Merge(into=into):
            here, there = filled.get(place), filled.get(into)
            both = None if here is None or there is None else here + there
            _pour(filled, counted, place, into, both)
        case e.Split(to=goals):
            for goal in goals:
                _pour(filled, counted, place, goal, None)
        case _:
            pass


def _pour(
    filled: dict[str, float | None], counted: set[str], place: str, goal: str, litres: float | None
) -> None:
    filled[place], filled[goal] = 0.0, litres
    counted.discard(place)
    counted.add(goal)


def dips_of(place: Place) -> tuple[tuple[float, float], ...] | None:
    """The litres of a tank by dip, as far as the site file says."""
    if place.dip is not None:
        return place.dip
    if place.height is None or place.litres is None:
        return None
    return upright(place.height, place.litres)


def brim_of(place: Place) -> float | None:
    """Litres that it holds, by its dip table where it has one."""
    return place.litres if place.dip is None else place.dip[0][1]
