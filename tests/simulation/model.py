"""Who must have heard of what by when: another reading of what is promised, small and slow.

Written from the contract, not from the code. It knows the rota, the rungs and what rang; it does
not know incidents, gathering or couriers, and so gives each its time.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from zoneinfo import ZoneInfo

from kuraban.core.effects import Step
from kuraban.core.site import Duty, House
from kuraban.core.units import HOUR, MINUTE

RINGING = ("raised", "realarmed", "unshelved", "released", "in-service")
PERHAPS = ("unshelved", "released", "in-service")
"""After these it rings only if it still holds."""
SIDES = {
    "warm": "warm", "far-warm": "warm", "cold": "cold", "far-cold": "cold", "overcooling": "cold",
}  # fmt: skip
"""Alarms of one place that are one thing to people."""
QUICK, SLOW = 20 * MINUTE, 60 * MINUTE
"""After so long without an answer all of the role and the brewers have been told."""
REACHED_WITHIN = 12 * MINUTE
"""By when somebody has it: five phones in a row that refuse or hang, rests of five minutes at most,
rings gathered for five."""
ALL_WITHIN = 16 * MINUTE


def of_day(moment: float, zone: str) -> float:
    """Seconds after midnight by the clocks on the walls there."""
    there = datetime.fromtimestamp(moment, ZoneInfo(zone))
    return there.hour * HOUR + there.minute * MINUTE + there.second


def on_duty(duty: Duty, moment: float, zone: str) -> bool:
    if duty.hours is None:
        return True
    start, end = duty.hours
    now = of_day(moment, zone)
    return start <= now < end if start < end else now >= start or now < end


def first_of(house: House, role: str, moment: float) -> str | None:
    """Whose phone is to ring first, None where nobody of the role is on duty. Of what is the
    brewers' whoever is awake hears first."""
    present = [duty for duty in house.rota if on_duty(duty, moment, house.site.timezone)]
    awake = [duty for duty in present if duty.awake and role == "brewer"]
    there = awake or [duty for duty in present if duty.role == role]
    return min(there, key=lambda duty: duty.order).person if there else None


def everyone(house: House, role: str) -> set[str]:
    """Whom the last rung tells: all of the role and all brewers, on duty or not."""
    return {duty.person for duty in house.rota if duty.role in (role, "brewer")}


@dataclass
class Ring:
    """One thing that rings, from its first sign until somebody answers or it is over."""

    subject: str
    side: str
    role: str
    quick: bool
    start: float
    known: float
    """Since when people may have heard of it: a graver sign, its shelf over, may ring already."""
    end: float = 9e99
    alarms: set[str] = field(default_factory=set)
    sounding: set[str] = field(default_factory=set)


def rings(
    house: House, steps: Iterable[Step], holds: Callable[[str, str, float], bool]
) -> list[Ring]:
    """What rang at any hour, by the steps that the journal tells; `holds` says whether a place is
    surely beyond its plan on a side at a moment, as the brewery itself knows."""
    open_rings: dict[tuple[str, str], Ring] = {}
    perhaps: dict[tuple[str, str], float] = {}
    found: list[Ring] = []
    for step in steps:
        key = step.subject, SIDES.get(step.condition, step.condition)
        ring = open_rings.get(key)
        if step.step in PERHAPS and not holds(step.subject, step.condition, step.at):
            if ring is None:
                perhaps.setdefault(key, step.at)
            continue
        if step.step in RINGING and step.urgency == "wake" and step.subject not in house.cooler:
            if ring is None:
                ring = open_rings[key] = _ring(house, step, key[1], perhaps.pop(key, step.at))
                found.append(ring)
            ring.alarms.add(step.alarm)
            ring.sounding.add(step.condition)
        elif ring is None and step.step not in RINGING:
            perhaps.pop(key, None)
        elif ring is not None and step.step not in RINGING:
            ring.sounding.discard(step.condition)
            if not ring.sounding:
                ring.end = step.at
                del open_rings[key]
    return found


def _ring(house: House, step: Step, side: str, known: float) -> Ring:
    place = house.place.get(step.subject)
    role = "brewer"
    if step.subject == "watch" or (place is not None and not place.brews and side in SIDES):
        role = "maintenance"
    quick = place is not None and place.kind in ("koji-bed", "starter")
    return Ring(step.subject, side, role, quick, step.at, known)


def later(deadline: float, since: float, off: Sequence[tuple[float, float]], rest: float) -> float:
    """A deadline that whatever was off between moves: `rest` after it was over."""
    moved = True
    while moved:
        moved = False
        for start, end in off:
            if start < deadline and end > since and end + rest > deadline:
                deadline, moved = end + rest, True
    return deadline
