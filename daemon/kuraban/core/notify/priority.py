"""How urgent an alarm is in this house, whose it is, and how quickly its ladder is climbed."""

from __future__ import annotations

from kuraban.core.alarm_conditions import CONDITIONS, MAINTENANCE
from kuraban.core.alarms.life_cycle import Alarm
from kuraban.core.effects import Urgency
from kuraban.core.house_view import HouseView
from kuraban.core.site import House

TRENDS = frozenset({"trending-warm", "trending-cold"})
"""They ring by day unless it is not sure yet that they come true: then they are listed."""
QUICK_KINDS = ("koji-bed", "starter")


def urgency_of(view: HouseView, alarm: Alarm, at: float) -> Urgency:
    """As the table says, but for parts of the watch that fail while nothing is judged."""
    condition = CONDITIONS[alarm.condition]
    if condition.owner == "watch" and condition.urgency == "wake":
        judged = any(view.place_judged(place, at) for place in view.places)
        return "wake" if judged else "duty"
    if condition.name in TRENDS and "unsure" in alarm.evidence:
        return "log"
    return condition.urgency


def role_of(view: HouseView, alarm: Alarm, at: float) -> str:
    """As the table says; a room, store or tank of sake outside its band is maintenance's."""
    place = view.house.place.get(alarm.subject)
    banded = place is not None and place.band is not None and alarm.condition in ("warm", "cold")
    if banded and view.batch(alarm.subject, at) is None:
        return MAINTENANCE
    return CONDITIONS[alarm.condition].role


def climbs_quickly(house: House, alarm: Alarm) -> bool:
    """Koji, starters, heaters, and whatever is past its limit."""
    if alarm.condition.startswith("far-"):
        return True
    if alarm.subject in house.cooler:
        return house.cooler[alarm.subject].heats
    return alarm.subject in house.place and house.place[alarm.subject].kind in QUICK_KINDS
