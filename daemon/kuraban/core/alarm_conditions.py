"""Every condition that the watch can tell, whom it concerns, and how urgently. One table.

Urgency, after IEC 62682's rationalisation: `wake` rings at any hour, `duty` rings between the
site's duty hours and whoever is on duty awake, `log` never rings. Each condition has one role
that can do something about it; a condition without a thing to do would not be an alarm.
"""

from __future__ import annotations

from typing import Literal, NamedTuple

from kuraban.core.effects import Urgency

Owner = Literal["place", "cooler", "probe", "watch"]
BREWER, MAINTENANCE, CREW = "brewer", "maintenance", "crew"


class Condition(NamedTuple):
    name: str
    owner: Owner
    urgency: Urgency
    role: str
    side: Literal["warm", "cold", ""] = ""
    """For product: the side of the plan on which it lies."""
    rank: int = 0
    """Among conditions of one side of one place a higher rank takes the incident over."""


_ALL = (
    Condition("warm", "place", "wake", BREWER, "warm", 1),
    Condition("cold", "place", "wake", BREWER, "cold", 1),
    Condition("far-warm", "place", "wake", BREWER, "warm", 2),
    Condition("far-cold", "place", "wake", BREWER, "cold", 2),
    Condition("trending-warm", "place", "duty", BREWER, "warm", 0),
    Condition("trending-cold", "place", "duty", BREWER, "cold", 0),
    Condition("overcooling", "place", "wake", BREWER, "cold", 1),
    Condition("humid", "place", "duty", CREW),
    Condition("dry", "place", "duty", CREW),
    Condition("unwatched", "place", "wake", BREWER),
    Condition("addition-unlogged", "place", "duty", CREW),
    Condition("stage-overdue", "place", "duty", CREW),
    Condition("stopped", "cooler", "wake", MAINTENANCE),
    Condition("not-cooling", "cooler", "wake", MAINTENANCE),
    Condition("not-heating", "cooler", "wake", MAINTENANCE),
    Condition("short-cycling", "cooler", "duty", MAINTENANCE),
    Condition("warming", "cooler", "wake", MAINTENANCE),
    Condition("freezing", "cooler", "duty", MAINTENANCE),
    Condition("silent", "probe", "duty", MAINTENANCE),
    Condition("stuck", "probe", "duty", MAINTENANCE),
    Condition("wild", "probe", "duty", MAINTENANCE),
    Condition("displaced", "probe", "duty", MAINTENANCE),
    Condition("disagrees", "probe", "duty", MAINTENANCE),
    Condition("broker-lost", "watch", "wake", MAINTENANCE),
    Condition("journal-failing", "watch", "wake", MAINTENANCE),
    Condition("pages-failing", "watch", "wake", MAINTENANCE),
    Condition("clock-wrong", "watch", "wake", MAINTENANCE),
    Condition("dark", "watch", "wake", MAINTENANCE),
    Condition("history-behind", "watch", "duty", MAINTENANCE),
    Condition("behind", "watch", "wake", MAINTENANCE),
)

CONDITIONS: dict[str, Condition] = {condition.name: condition for condition in _ALL}

NO_MEASURE: frozenset[str] = frozenset({"displaced", "stuck", "wild"})
"""Conditions of a probe by which it measures no product, though it speaks."""
COOLING_FAILS: frozenset[str] = frozenset({"stopped", "not-cooling", "not-heating", "warming"})
"""Conditions of a cooler that leave its places without it."""
COOLER_WAKES: frozenset[str] = COOLING_FAILS
"""Conditions whose urgency depends on the hours that the served places have left."""
AIR: frozenset[str] = frozenset({"humid", "dry"})
