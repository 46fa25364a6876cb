"""One cause, one thread: what a failing cooler or heater does to its places is told as one.

One incident of a thread leads. What follows it rings nobody by itself: whoever was rung is told
at once without a sound, and it stands in the next messages. A thread is told of again when
something in it gets a rank worse, which leads from then on; an answer to what leads is one to
what follows it and is the same people's. At the end of their ladders the incidents of one cause,
and all that the same people have to answer, share one message an hour.
"""

from __future__ import annotations

from kuraban.core.alarm_conditions import COOLING_FAILS
from kuraban.core.house_view import HouseView
from kuraban.core.notify.incidents import Incident, Incidents, Key

TOGETHER = 3
"""So many places of one cooler that ring at once have one cause, whatever that one tells."""


class Threads:
    def __init__(self, view: HouseView, incidents: Incidents) -> None:
        self._view, self._incidents = view, incidents

    def ladder(self, incident: Incident) -> tuple[float, ...]:
        """Seconds from the beginning of its ring to each of its rungs."""
        site = self._view.house.site
        return site.quick_ladder if incident.quick else site.ladder

    def ended(self, incident: Incident) -> bool:
        """Whether it has climbed its whole ladder unanswered."""
        return incident.open and incident.rung >= len(self.ladder(incident))

    def cause(self, incident: Incident) -> Key | None:
        """The cooler or heater, and the side of its places, that it comes of; None where none is
        known: a failing of it, or several of its places out on one side.
        """
        found = self._cooler(incident)
        if found is None or incident.key[0] == found[0]:
            return found
        if found == self._fails(found[0]) and self._view.stands(found[0], *COOLING_FAILS):
            return found
        out = [
            one
            for one in self._incidents.standing.values()
            if one.urgency == "wake" and self._cooler(one) == found
        ]
        return found if len(out) >= TOGETHER else None

    def _cooler(self, incident: Incident) -> Key | None:
        """What could be its cause."""
        (subject, group), house = incident.key, self._view.house
        if subject in house.cooler:
            return self._fails(subject) if group == "cooling" else None
        if subject not in house.place or group not in ("warm", "cold"):
            return None
        cooler = self._view.entry_log.cooler_of(subject)
        return None if cooler is None else (cooler, group)

    def _fails(self, cooler: str) -> Key:
        """It, and the side on which its places leave when it fails."""
        return cooler, "cold" if self._view.house.cooler[cooler].heats else "warm"

    def beside(self, incident: Incident) -> list[Incident]:
        """The others of its cause that ring at any hour, answered or not, the gravest first."""
        cause = self.cause(incident)
        found = [
            one
            for one in self._incidents.standing.values()
            if cause is not None and one is not incident
            and one.urgency == "wake" and self.cause(one) == cause
        ]  # fmt: skip
        return sorted(found, key=_gravest)

    def of(self, incident: Incident) -> list[Incident]:
        """It and what follows it, the gravest of these first."""
        standing = self._incidents.standing.values()
        followers = [one for one in standing if one.follows == incident.key]
        return [incident, *sorted(followers, key=_gravest)]

    def follow(self, incident: Incident, leader: Incident) -> None:
        """It and all that follow it follow another from now on."""
        for one in self.of(incident):
            one.follows = leader.key
        leader.follows = None

    def gather_ended(self, incident: Incident) -> None:
        """At the end of the ladders it tells of all that are no graver and of the same cause or the
        same people's."""
        cause = self.cause(incident)
        for one in list(self._incidents.standing.values()):
            akin = one.role == incident.role or (cause is not None and self.cause(one) == cause)
            alone = one is not incident and one.follows is None and one.urgency == "wake"
            if akin and alone and self.ended(one) and one.rank <= incident.rank:
                self.follow(one, incident)

    def answered_with(self, incident: Incident) -> list[Incident]:
        """What follows it and is answered with it: of the same cause, and the same people's."""
        cause = self.cause(incident)
        return [
            one
            for one in self.of(incident)[1:]
            if cause is not None and one.role == incident.role and self.cause(one) == cause
        ]

    def leader(self, incident: Incident) -> Incident:
        """Whose messages tell of it: another's, or its own."""
        found = None if incident.follows is None else self._incidents.standing.get(incident.follows)
        return incident if found is None else found


def _gravest(incident: Incident) -> tuple[int, tuple[str, str]]:
    return -incident.rank, incident.key
