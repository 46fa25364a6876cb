"""Who is on duty when, and who stands behind them.

The rota is the lines of the site file and the shifts written out from the house's calendars, as
people have swapped them for a day. The night belongs to the day on which it begins: hours that
cross midnight to the day on which they start, a line without hours to the brewery day.

Who is away can still be called, but comes after those who are here. While everybody whom an alarm
would ring is away, it is due earlier by the time that the first of them needs to arrive.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import date, datetime, timedelta, tzinfo
from typing import NamedTuple

from kuraban.core.site import Duty, House
from kuraban.core.timescale import moment_of, wall_of
from kuraban.core.units import DAY, at_clock, begun, brewery_day

DAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


def _day(duty: Duty, at: float, zone: tzinfo) -> date | None:
    """The day to which a moment belongs in a line, None if the line does not cover it.

    Hours that cross midnight belong to the day on which they start: "fri 18:00-08:00" covers
    Saturday 03:00 and not Friday 03:00.
    """
    start, end = duty.hours or (0.0, DAY)
    day = begun(at, start, end, zone)
    return day if day is None or not duty.days or DAYS[day.weekday()] in duty.days else None


class Holder(NamedTuple):
    person: str
    role: str
    awake: bool


class _Line(NamedTuple):
    """One duty as it stands at a moment, swaps included."""

    order: int
    holder: Holder


def _lines(house: House, at: float) -> Iterator[_Line]:
    for duty in house.rota:
        day = _day(duty, at, house.zone)
        if day is None:
            continue
        if duty.hours is None:
            day = brewery_day(at, house.site.day_starts, house.zone)
        person = _swapped(house, duty.person, duty.role, day)
        yield _Line(duty.order, Holder(person, duty.role, duty.awake))
    wall = wall_of(at, house.zone)
    for shift in house.shifts:
        if shift.start <= wall < shift.end:
            day = datetime.fromtimestamp(shift.start, house.site.zone).date()
            person = _swapped(house, shift.person, shift.role, day)
            yield _Line(shift.order, Holder(person, shift.role, shift.awake))


def _swapped(house: House, person: str, role: str, day: date) -> str:
    for swap in house.swaps:
        if swap.day == day.isoformat() and swap.role in (None, role):
            person = {swap.first: swap.second, swap.second: swap.first}.get(person, person)
    return person


def has_duty(house: House, person: str, role: str | None, day: date) -> bool:
    """Whether a person's own lines or shifts begin on a day, in one role or in any."""
    lines = any(
        duty.person == person
        and role in (None, duty.role)
        and (not duty.days or DAYS[day.weekday()] in duty.days)
        for duty in house.rota
    )
    return lines or any(
        shift.person == person
        and role in (None, shift.role)
        and datetime.fromtimestamp(shift.start, house.site.zone).date() == day
        for shift in house.shifts
    )


def holders(house: House, role: str, at: float) -> list[Holder]:
    """Everyone on duty for a role at a moment, first to be told first."""
    return _ordered(line for line in _lines(house, at) if line.holder.role == role)


class Turn(NamedTuple):
    """One person's duty in a role from `start` to `end`."""

    person: str
    role: str
    start: float
    end: float


def turns(house: House, first: date, days: int) -> Iterator[Turn]:
    """The duties that begin on each of so many days from `first` on, swaps included.

    Whoever is always on duty has no turn of it, but on a day on which it is somebody else's.
    """
    for day in (first + timedelta(days=number) for number in range(days)):
        for duty in house.rota:
            if duty.days and DAYS[day.weekday()] not in duty.days:
                continue
            person = _swapped(house, duty.person, duty.role, day)
            if not (duty.days or duty.hours) and person == duty.person:
                continue
            whole = (0.0, DAY) if duty.days else (house.site.day_starts,) * 2
            start, end = duty.hours or whole
            last = day if start < end else day + timedelta(days=1)
            begins, ends = at_clock(day, start, house.zone), at_clock(last, end, house.zone)
            yield Turn(person, duty.role, begins, ends)
        for shift in house.shifts:
            if datetime.fromtimestamp(shift.start, house.site.zone).date() == day:
                person = _swapped(house, shift.person, shift.role, day)
                begins, ends = (moment_of(at, house.zone) for at in (shift.start, shift.end))
                yield Turn(person, shift.role, begins, ends)


def everyone(house: House, role: str) -> list[Holder]:
    """All of a role, on duty or not, in their order."""
    own = [_Line(d.order, Holder(d.person, role, d.awake)) for d in house.rota if d.role == role]
    own += [_Line(s.order, Holder(s.person, role, s.awake)) for s in house.shifts if s.role == role]
    return _ordered(own)


def awake(house: House, at: float) -> list[Holder]:
    """Everyone who works awake, and here, at a moment, whatever the role."""
    return _ordered(
        line
        for line in _lines(house, at)
        if line.holder.awake and arrival(house, line.holder.person, at) is None
    )


def _ordered(lines: Iterable[_Line]) -> list[Holder]:
    """Each person once, by their first line, and awake if they are by any of their lines."""
    found: dict[str, Holder] = {}
    for line in sorted(lines, key=lambda line: line.order):
        known = found.setdefault(line.holder.person, line.holder)
        if line.holder.awake and not known.awake:
            found[known.person] = known._replace(awake=True)
    return list(found.values())


def chain(house: House, role: str, at: float) -> list[Holder]:
    """Whom a role's alarm rings, in order; never empty while the house has people.

    Nobody of the role on duty: the brewer on duty; nobody there either: all of the role, then all
    brewers at any hour, then anyone at all. Who is away comes after those who are here.
    """
    for group in (
        holders(house, role, at),
        holders(house, "brewer", at),
        everyone(house, role),
        everyone(house, "brewer"),
    ):
        if group:
            return sorted(group, key=lambda one: arrival(house, one.person, at) is not None)
    return [Holder(person.id, role, False) for person in house.people]


def arrival(house: House, person: str, at: float) -> float | None:
    """Seconds that a person needs to arrive, None where they are not away at that moment."""
    wall = wall_of(at, house.zone)
    away = [a.arrive for a in house.away if a.person == person and a.start <= wall < a.end]
    return max(away) if away else None


def head_start(house: House, role: str, at: float) -> float:
    """Seconds by which a role's alarm is due earlier, since all whom it would ring are away."""
    if not house.away:
        return 0.0
    times = [arrival(house, holder.person, at) for holder in chain(house, role, at)]
    here = [time for time in times if time is None]
    return 0.0 if here or not times else min(time for time in times if time is not None)


def all_away(house: House, role: str, at: float) -> bool:
    """Whether nobody is here of those whom a role's alarm would ring, as at New Year."""
    line = chain(house, role, at)
    return bool(line) and all(arrival(house, one.person, at) is not None for one in line)
