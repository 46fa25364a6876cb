"""Who is on duty when, told a second time: each line of a rota written out as spells of time."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from functools import cache
from zoneinfo import ZoneInfo

from kuraban.core.site import Duty, House

WEEK = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


@cache
def shown(day: date, clock: float, zone: ZoneInfo) -> float:
    """The first whole minute by which a clock on the wall has come to `clock` on a day."""
    if clock >= 86400.0:
        return shown(day + timedelta(days=1), clock - 86400.0, zone)
    naive = datetime(day.year, day.month, day.day, tzinfo=zone).timestamp() + clock
    at = naive - 3 * 3600.0
    while (local := datetime.fromtimestamp(at, zone)).date() < day or (
        local.date() == day and local.hour * 3600.0 + local.minute * 60.0 < clock
    ):
        at += 60.0
    return at


def spells(duty: Duty, zone: ZoneInfo, around: float) -> list[tuple[float, float]]:
    """The spells of one line in the days about a moment, [from, to)."""
    first = datetime.fromtimestamp(around, zone).date() - timedelta(days=2)
    found = []
    for number in range(5):
        day = first + timedelta(days=number)
        if duty.days and WEEK[day.weekday()] not in duty.days:
            continue
        start, end = duty.hours or (0.0, 86400.0)
        last = day if start < end else day + timedelta(days=1)
        found.append((shown(day, start, zone), shown(last, end, zone)))
    return found


def present(house: House, at: float) -> list[Duty]:
    """The lines of the rota that cover a moment, the first to be told first."""

    def covers(duty: Duty) -> bool:
        return any(start <= at < end for start, end in spells(duty, house.zone, at))

    return sorted(filter(covers, house.rota), key=lambda duty: duty.order)


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
