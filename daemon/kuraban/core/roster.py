"""Who is on duty when, and who stands behind them."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import NamedTuple
from zoneinfo import ZoneInfo

from kuraban.core.site import Duty, House
from kuraban.core.units import HOUR, MINUTE

DAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


def on_duty(duty: Duty, at: float, zone: ZoneInfo) -> bool:
    """Whether a line of the rota covers a moment.

    Hours that cross midnight belong to the day on which they start: "fri 18:00-08:00" covers
    Saturday 03:00 and not Friday 03:00.
    """
    local = datetime.fromtimestamp(at, zone)
    clock = local.hour * HOUR + local.minute * MINUTE + local.second
    day = local.date()
    if duty.hours is not None:
        start, end = duty.hours
        if start < end:
            if not start <= clock < end:
                return False
        elif clock < end:
            day -= timedelta(days=1)
        elif clock < start:
            return False
    return not duty.days or DAYS[day.weekday()] in duty.days


class Holder(NamedTuple):
    person: str
    role: str
    awake: bool


def holders(house: House, role: str, at: float) -> list[Holder]:
    """Everyone on duty for a role at a moment, first to be told first."""
    return _listed(house, role, lambda duty: on_duty(duty, at, house.zone))


def everyone(house: House, role: str) -> list[Holder]:
    """All of a role, on duty or not, in their order."""
    return _listed(house, role, lambda duty: True)


def _listed(house: House, role: str, keep: object) -> list[Holder]:
    assert callable(keep)
    found: dict[str, Holder] = {}
    for duty in sorted(house.rota, key=lambda duty: (duty.order, not duty.awake)):
        if duty.role == role and keep(duty):
            found.setdefault(duty.person, Holder(duty.person, role, duty.awake))
    return list(found.values())


def awake(house: House, at: float) -> list[Holder]:
    """Everyone who works awake at a moment, whatever the role."""
    found: dict[str, Holder] = {}
    for duty in sorted(house.rota, key=lambda duty: duty.order):
        if duty.awake and on_duty(duty, at, house.zone):
            found.setdefault(duty.person, Holder(duty.person, duty.role, True))
    return list(found.values())


def chain(house: House, role: str, at: float) -> list[Holder]:
    """Whom a role's alarm rings, in order; never empty while the house has people.

    Nobody of the role on duty: the brewer on duty; nobody there either: all of the role, then all
    brewers at any hour, then anyone at all.
    """
    for group in (
        holders(house, role, at),
        holders(house, "brewer", at),
        everyone(house, role),
        everyone(house, "brewer"),
    ):
        if group:
            return group
    return [Holder(person.id, role, False) for person in house.people]
