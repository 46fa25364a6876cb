"""Who is on duty when, told a second time: each line of a rota written out as spells of time."""

from __future__ import annotations

from datetime import datetime, timedelta

from kuraban.core.site import Duty, House

WEEK = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


def spells(duty: Duty, house: House, around: float) -> list[tuple[float, float]]:
    """The spells of one line in the days about a moment, [from, to)."""
    zone = house.zone
    first = datetime.fromtimestamp(around, zone).date() - timedelta(days=2)
    found = []
    for number in range(5):
        day = first + timedelta(days=number)
        if duty.days and WEEK[day.weekday()] not in duty.days:
            continue
        midnight = datetime(day.year, day.month, day.day, tzinfo=zone)
        start, end = duty.hours or (0.0, 86400.0)
        if end <= start:
            end += 86400.0
        found.append((midnight.timestamp() + start, midnight.timestamp() + end))
    return found


def present(house: House, at: float) -> list[Duty]:
    """The lines of the rota that cover a moment, the first to be told first."""
    lines = [duty for duty in house.rota if any(a <= at < b for a, b in spells(duty, house, at))]
    return sorted(lines, key=lambda duty: duty.order)


def _once(names: list[str]) -> list[str]:
    return list(dict.fromkeys(names))


def line_of(house: House, role: str, at: float, *, product_or_air: bool) -> list[str]:
    """Persons in the order in which an alarm of this role goes to them at a moment."""
    here = present(house, at)
    every = sorted(house.rota, key=lambda duty: duty.order)
    line = (
        [duty.person for duty in here if duty.role == role]
        or [duty.person for duty in here if duty.role == "brewer"]
        or [duty.person for duty in every if duty.role == role]
        or [duty.person for duty in every if duty.role == "brewer"]
        or [person.id for person in house.people]
    )
    theirs = role == "maintenance" and any(duty.role == role for duty in here)
    up = [duty.person for duty in here if duty.awake and product_or_air and not theirs]
    return _once(up + line)


def told_at(
    house: House, role: str, at: float, rung: int, told: list[str], *, product_or_air: bool
) -> list[str]:
    """Who is told on a rung: the first, the same again, the next, at last all and the brewers.

    Next is the first of the line who was not told yet, else its second, else its only one.
    """
    line = line_of(house, role, at, product_or_air=product_or_air)
    if rung < 2:
        return line[:1]
    if rung == 2:
        return ([one for one in line if one not in told] + line[1:2] + line[:1])[:1]
    every = sorted(house.rota, key=lambda duty: duty.order)
    of_role = [duty.person for duty in every if duty.role == role]
    brewers = [duty.person for duty in every if duty.role == "brewer"]
    return _once(line + of_role + brewers)
