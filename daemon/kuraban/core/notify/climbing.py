"""The ladder of an incident that wakes people, climbed rung by rung until somebody answers."""

from __future__ import annotations

from kuraban.core.alarms.life_cycle import Alarms
from kuraban.core.conditions import CONDITIONS
from kuraban.core.deadlines import ClimbLadder, Deadlines
from kuraban.core.house_view import HouseView
from kuraban.core.notify.gathering import Gathering
from kuraban.core.notify.incidents import Incident, Incidents, Key
from kuraban.core.notify.ladder import WHOM, Call, called
from kuraban.core.notify.message_writer import MessageWriter


class Climbing:
    def __init__(
        self, view: HouseView, alarms: Alarms, deadlines: Deadlines, incidents: Incidents,
        gathering: Gathering, writer: MessageWriter,
    ) -> None:  # fmt: skip
        self._view, self._alarms, self._deadlines = view, alarms, deadlines
        self._incidents, self._gathering, self._writer = incidents, gathering, writer

    def begin(self, incident: Incident) -> None:
        """The first rung of a ring that has just begun."""
        self.climb(incident.key, incident.at, 0)

    def climb(self, key: Key, began: float, rung: int) -> None:
        """One rung of an incident's ladder at its time, and the next one planned."""
        incident = self._incidents.standing.get(key)
        if incident is None or not incident.open or (incident.at, incident.rung) != (began, rung):
            return
        site = self._view.house.site
        steps = site.quick_ladder if incident.quick else site.ladder
        at = began + steps[rung]
        condition = CONDITIONS[incident.lead]._replace(role=incident.role)
        whom = WHOM[min(rung, len(WHOM) - 1)]
        self.ring(called(self._view.entry_log.manned, condition, whom, at, rung), incident, at)
        if rung + 1 < len(steps):
            incident.rung = rung + 1
            self._deadlines.add(began + steps[rung + 1], ClimbLadder(key, began, rung + 1))

    def ring(self, calls: list[Call], incident: Incident, at: float) -> None:
        """Ring these people about what the incident is about."""
        alarm = self._alarms[incident.key[0], incident.lead]
        for call in calls:
            incident.tell(call.person)
            self._gathering.ring(call, alarm, incident.urgency, at)

    def unreached(self, message: str, at: float) -> None:
        """No service of the person took that page: the next who was not told yet is told now.

        The ladder goes on as it would; whoever is reached at last hears of it all the same.
        """
        for alarm in self._writer.sent.pop(message, ()):
            subject, _, name = alarm.partition("/")
            incident = self._incidents.of(subject, name)
            if incident is None or not incident.open:
                continue
            condition = CONDITIONS[incident.lead]._replace(role=incident.role)
            line = called(self._view.entry_log.manned, condition, "all", at, incident.rung)
            self.ring([call for call in line if call.person not in incident.told][:1], incident, at)
