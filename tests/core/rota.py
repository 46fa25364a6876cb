"""Who is on duty when, told a second time: each line of a rota written out as spells of time."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, timedelta
from functools import cache
from typing import NamedTuple
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


class Swap(NamedTuple):
    """Two people stand in for each other in what begins on a day, in one role or in all."""

    day: date
    one: str
    other: str
    role: str | None = None


class There(NamedTuple):
    """Somebody on duty, and the line of the rota by which they are."""

    person: str
    duty: Duty


def spells(duty: Duty, zone: ZoneInfo, around: float) -> list[tuple[float, float]]:
    """The spells of one line in the days about a moment, [from, to)."""
    return list(_spells(duty, zone, datetime.fromtimestamp(around, zone).date()).values())


@cache
def _spells(duty: Duty, zone: ZoneInfo, today: date) -> dict[date, tuple[float, float]]:
    found = {}
    for number in range(5):
        day = today + timedelta(days=number - 2)
        if duty.days and WEEK[day.weekday()] not in duty.days:
            continue
        start, end = duty.hours or (0.0, 86400.0)
        last = day if start < end else day + timedelta(days=1)
        found[day] = (shown(day, start, zone), shown(last, end, zone))
    return found


def present(house: House, at: float, swaps: Sequence[Swap] = ()) -> list[There]:
    """Who is there at a moment and by which line, the first to be told first."""
    found = []
    today = datetime.fromtimestamp(at, house.zone).date()
    for duty in sorted(house.rota, key=lambda duty: duty.order):
        for day, (start, end) in _spells(duty, house.zone, today).items():
            if start <= at < end:
                found.append(There(_stood_in(duty, house, at, day, swaps), duty))
    return found


def _stood_in(duty: Duty, house: House, at: float, day: date, swaps: Sequence[Swap]) -> str:
    """Who does a duty that began on a day; one without hours turns with the brewery day."""
    if duty.hours is None:
        six = shown(datetime.fromtimestamp(at, house.zone).date(), 6 * 3600.0, house.zone)
        day = datetime.fromtimestamp(at, house.zone).date() - timedelta(days=at < six)
    who = duty.person
    for swap in swaps:
        if swap.day == day and swap.role in (None, duty.role) and who in (swap.one, swap.other):
            who = swap.other if who == swap.one else swap.one
    return who


def _once(names: list[str]) -> list[str]:
    return list(dict.fromkeys(names))


def line_of(
    house: House, role: str, at: float, swaps: Sequence[Swap] = (), *, product_or_air: bool
) -> list[str]:
    """Persons in the order in which an alarm of this role goes to them at a moment."""
    here = present(house, at, swaps)
    every = sorted(house.rota, key=lambda duty: duty.order)
    line = (
        [who for who, duty in here if duty.role == role]
        or [who for who, duty in here if duty.role == "brewer"]
        or [duty.person for duty in every if duty.role == role]
        or [duty.person for duty in every if duty.role == "brewer"]
        or [person.id for person in house.people]
    )
    theirs = role == "maintenance" and any(duty.role == role for _, duty in here)
    up = [who for who, duty in here if duty.awake and product_or_air and not theirs]
    return _once(up + line)


def told_at(
    house: House, role: str, at: float, rung: int, told: list[str], swaps: Sequence[Swap] = (),
    *, product_or_air: bool,
) -> list[str]:  # fmt: skip
    """Who is told on a rung: the first, the same again, the next, at last all and the brewers.

    Next is the first of the line who was not told yet, else its second, else its only one.
    """
    line = line_of(house, role, at, swaps, product_or_air=product_or_air)
    if rung < 2:
        return line[:1]
    if rung == 2:
        return ([one for one in line if one not in told] + line[1:2] + line[:1])[:1]
    every = sorted(house.rota, key=lambda duty: duty.order)
    of_role = [duty.person for duty in every if duty.role == role]
    brewers = [duty.person for duty in every if duty.role == "brewer"]
    return _once(line + of_role + brewers)
