"""Who is told of an incident, and who next if nobody answers.

The quick ladder is for what moves fast (koji, starter, heaters, `far-…`), the slow one for mash and
coolers: twenty minutes are a few hundredths of a degree there.

Rungs: the first person at once, the same again, the next who was not told yet, all of the role and
then the brewer. Any acknowledgement ends it.
"""

from __future__ import annotations

from collections.abc import Container, Iterable
from typing import Literal, NamedTuple

from kuraban.core import rota
from kuraban.core.alarm_conditions import AIR, MAINTENANCE, Condition
from kuraban.core.site import House
from kuraban.core.units import within_hours

Whom = Literal["first", "again", "next", "all"]
WHOM: tuple[Whom, ...] = ("first", "again", "next", "all")
HEARD_AWAKE = frozenset({"unwatched"}) | AIR
"""Besides the product's own: what somebody awake hears before the sleeping brewer."""


class Call(NamedTuple):
    """One person to be told now."""

    person: str
    role: str
    rung: int


def called(
    house: House, condition: Condition, whom: Whom, at: float, rung: int, told: Container[str] = ()
) -> list[Call]:
    """The persons of one rung at a moment, in order; never empty while the house has people.

    Next is whoever is on duty and is not among the `told`; where all are, the second in the line.
    """
    line = rota.chain(house, condition.role, at)
    if _heard_awake(house, condition, at):
        line = _joined(rota.awake(house, at), line)
    if whom in ("first", "again"):
        chosen = line[:1]
    elif whom == "next":
        new = [holder for holder in line if holder.person not in told]
        chosen = new[:1] or line[1:2] or line[:1]
    else:
        behind = rota.everyone(house, condition.role), rota.everyone(house, "brewer")
        chosen = _joined(line, *behind)
    return [Call(holder.person, condition.role, rung) for holder in chosen]


def called_on_duty(house: House, condition: Condition, at: float) -> list[Call]:
    """Whom a `duty` alarm rings now: in duty hours the first, else whoever is awake for it."""
    start, end = house.site.duty_hours
    if within_hours(at, start, end, house.zone):
        return called(house, condition, "first", at, 0)
    holders = rota.holders(house, condition.role, at)
    up = [holder for holder in holders if holder.awake]
    if not up and _heard_awake(house, condition, at):
        up = rota.awake(house, at)
    return [Call(holder.person, condition.role, 0) for holder in up[:1]]


def _heard_awake(house: House, condition: Condition, at: float) -> bool:
    """Whether somebody awake hears it first, before the sleeping brewer.

    A room or store outside its band is maintenance's, and is theirs first while they are on duty.
    """
    if not condition.side and condition.name not in HEARD_AWAKE:
        return False
    return condition.role != MAINTENANCE or not rota.holders(house, MAINTENANCE, at)


def _joined(*groups: Iterable[rota.Holder]) -> list[rota.Holder]:
    found: dict[str, rota.Holder] = {}
    for group in groups:
        for holder in group:
            found.setdefault(holder.person, holder)
    return list(found.values())
