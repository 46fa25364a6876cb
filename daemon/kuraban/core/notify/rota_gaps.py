"""Stretches of the rota that nobody covers, found before they come.

Only roles that an alarm can ring are looked at, and only where something can be judged: brewer
where there is a place to brew in, maintenance where there is a band, a cooler or a brewing place.
A role that the rota does not name at all is the brewer's by intention and has no gaps.
"""

from __future__ import annotations

from datetime import date, datetime, timedelta
from itertools import pairwise
from typing import NamedTuple

from kuraban.core import rota
from kuraban.core.alarm_conditions import BREWER, MAINTENANCE
from kuraban.core.site import House
from kuraban.core.timescale import moment_of
from kuraban.core.units import at_clock

LOOK_AHEAD = 28
"""Days."""


class Gap(NamedTuple):
    """Nobody of a role is on duty from `start` to `end`; `instead` is whom its alarms ring."""

    role: str
    start: float
    end: float
    instead: tuple[str, ...]


def gaps(house: House, now: float, days: int = LOOK_AHEAD) -> list[Gap]:
    """Every gap from `now` on, in the order of their times."""
    edges = _edges(house, now, days)
    found = [gap for role in _wanted(house) for gap in _of(house, role, edges)]
    return sorted(found, key=lambda gap: (gap.start, gap.role))


def _wanted(house: House) -> list[str]:
    brews = any(place.brews for place in house.places)
    judged = brews or any(place.band is not None for place in house.places)
    named = {duty.role for duty in house.rota} | {shift.role for shift in house.shifts}
    roles = [BREWER] if brews else []
    if judged and (MAINTENANCE in named or not brews):
        roles.append(MAINTENANCE if MAINTENANCE in named else BREWER)
    return roles


def _edges(house: House, now: float, days: int) -> list[float]:
    """Every moment at which who is on duty can change, `now` and the end included."""
    today = datetime.fromtimestamp(now, house.zone).date()
    end = at_clock(today + timedelta(days=days), 0.0, house.zone)
    found = {now, end}
    for ahead in range(-1, days + 1):
        found |= _on(house, today + timedelta(days=ahead))
    for shift in house.shifts:
        found |= {moment_of(edge, house.zone) for edge in (shift.start, shift.end)}
    return sorted(edge for edge in found if now <= edge <= end)


def _on(house: House, day: date) -> set[float]:
    clocks = {edge for duty in house.rota for edge in duty.hours or ()}
    return {at_clock(day, clock, house.zone) for clock in (0.0, house.site.day_starts, *clocks)}


def _of(house: House, role: str, edges: list[float]) -> list[Gap]:
    found: list[Gap] = []
    for start, end in pairwise(edges):
        if rota.holders(house, role, start):
            continue
        instead = tuple(holder.person for holder in rota.chain(house, role, start))
        if found and found[-1].end == start and found[-1].instead == instead:
            found[-1] = found[-1]._replace(end=end)
        else:
            found.append(Gap(role, start, end, instead))
    return found
