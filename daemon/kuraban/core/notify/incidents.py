"""Which alarms people would call one thing, and how far the telling of it has come.

An incident is all alarms of one side of one product, or all of one cooler's failing. It rings once;
a higher rank (past the limit) takes it over, with one message to whoever was rung. What joins it
later and is no graver is not told again.
"""

from __future__ import annotations

from collections.abc import Iterable

import msgspec

from kuraban.core.alarm_conditions import CONDITIONS, COOLING_FAILS
from kuraban.core.alarms.life_cycle import Alarm
from kuraban.core.effects import Urgency

Key = tuple[str, str]
"""The subject, and which of its incidents."""


class Incident(msgspec.Struct):
    """The alarms in it, what its messages are about, and how far up the ladder it is."""

    key: Key
    members: set[str] = set()
    lead: str = ""
    """Condition that the message is about."""
    rank: int = -1
    urgency: Urgency = "log"
    role: str = ""
    quick: bool = False
    open: bool = False
    """Somebody is still to be told if nobody answers."""
    at: float = 0.0
    """When its present ring began."""
    rung: int = 0
    """The next rung of that ring."""
    told: list[str] = []
    """Everybody who was told of any of its rings, and will hear who has it."""
    rung_now: list[str] = []
    """Who was told of the present ring."""
    follows: Key | None = None
    """The incident of the same cause whose messages tell of this one, which rings nobody itself."""

    def begin(self, at: float, urgency: Urgency, role: str, quick: bool) -> None:
        """A ring begins, from the first rung, and nobody was told of it yet."""
        self.open, self.at, self.rung, self.rung_now, self.follows = True, at, 0, [], None
        self.urgency, self.role, self.quick = urgency, role, quick

    @property
    def climbs(self) -> bool:
        """Its own ring goes on, and nobody has answered."""
        leads = self.open and self.follows is None
        return leads and self.urgency == "wake" and bool(self.rung_now)

    def tell(self, person: str) -> None:
        """A person is told of it now."""
        for known in (self.told, self.rung_now):
            if person not in known:
                known.append(person)

    def look(self) -> None:
        """The message is about the member that outranks the others."""
        self.lead = ranked(self.members)[0]
        self.rank = CONDITIONS[self.lead].rank


class Incidents:
    """The incidents that stand, by subject and group."""

    def __init__(self) -> None:
        self.standing: dict[Key, Incident] = {}

    def of(self, subject: str, condition: str) -> Incident | None:
        return self.standing.get(_key(subject, condition))

    def members(self, subject: str, condition: str) -> list[str]:
        """The alarms that an answer to one of them answers too, the gravest first."""
        incident = self.of(subject, condition)
        return ranked(incident.members) if incident is not None else []

    def enter(self, alarm: Alarm, urgency: Urgency, again: bool) -> tuple[Incident, bool]:
        """An alarm rings: its incident, and whether that is news or only joins what is known.

        `again`: it was told before and rings once more.
        """
        key = _key(alarm.subject, alarm.condition)
        incident = self.standing.setdefault(key, Incident(key))
        known = bool(incident.members - {alarm.condition})
        incident.members.add(alarm.condition)
        graver = CONDITIONS[alarm.condition].rank > incident.rank
        louder = incident.urgency != "wake" and urgency == "wake"
        news = not known or graver or louder or (again and not incident.open)
        if news:
            incident.look()
        return incident, news

    def leave(self, alarm: Alarm) -> None:
        """An alarm rings no more; with its lead gone the rest is told of, if that still wakes."""
        incident = self.of(alarm.subject, alarm.condition)
        if incident is None:
            return
        incident.members.discard(alarm.condition)
        if not incident.members:
            del self.standing[incident.key]
        elif incident.lead == alarm.condition:
            incident.look()
            if incident.urgency == "wake" and CONDITIONS[incident.lead].urgency != "wake":
                incident.urgency, incident.open = "duty", False


def ranked(conditions: Iterable[str]) -> list[str]:
    """The highest rank first, equal ones by name, so that the same lead is found every time."""
    return sorted(conditions, key=lambda name: (-CONDITIONS[name].rank, name))


def group_of(condition: str) -> str:
    """The part of an incident's key beside the subject."""
    known = CONDITIONS[condition]
    if known.side:
        return known.side
    return "cooling" if condition in COOLING_FAILS else condition


def signs(key: Key) -> list[str]:
    """The names of all alarms that can be in it."""
    subject, group = key
    return [f"{subject}/{name}" for name in CONDITIONS if group_of(name) == group]


def _key(subject: str, condition: str) -> Key:
    return subject, group_of(condition)
