"""The ladder of an incident that wakes people, climbed rung by rung until somebody answers."""

from __future__ import annotations

from kuraban.core.alarm_conditions import CONDITIONS
from kuraban.core.alarms.life_cycle import Alarms
from kuraban.core.deadlines import ClimbLadder, Deadlines
from kuraban.core.house_view import HouseView
from kuraban.core.notify.gathering import Gathering
from kuraban.core.notify.incidents import Incident, Incidents, Key
from kuraban.core.notify.ladder import WHOM, Call, Whom, called
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
        self.climb(incident.key, incident.at, 0, incident.at)

    def climb(self, key: Key, began: float, rung: int, at: float) -> None:
        """One rung of the ring that began at `began`, now, and the next one planned.

        The site's ladder may have been changed since: a rung that it lacks is not climbed.
        """
        incident = self._incidents.standing.get(key)
        if incident is None or not incident.open or (incident.at, incident.rung) != (began, rung):
            return
        site = self._view.house.site
        steps = site.quick_ladder if incident.quick else site.ladder
        if rung >= len(steps):
            return
        try:
            self.ring(self._called(incident, WHOM[min(rung, len(WHOM) - 1)], at), incident, at)
        finally:
            if rung + 1 < len(steps):
                incident.rung = rung + 1
                self._deadlines.add(began + steps[rung + 1], ClimbLadder(key, began, rung + 1))

    def _called(self, incident: Incident, whom: Whom, at: float) -> list[Call]:
        condition = CONDITIONS[incident.lead]._replace(role=incident.role)
        house = self._view.entry_log.manned
        return called(house, condition, whom, at, incident.rung, incident.rung_now)

    def ring(self, calls: list[Call], incident: Incident, at: float) -> None:
        """Ring these people about what the incident is about."""
        alarm = self._alarms[incident.key[0], incident.lead]
        for call in calls:
            incident.tell(call.person)
            self._gathering.ring(call, alarm, incident.urgency, at)

    def unreached(self, message: str, at: float) -> None:
        """No service of the person took that page: the next who was not told yet is told now.

        The ladder goes on as it would; whoever is reached at last hears of it all the same. A page
        of an earlier ring is no news: the present one has pages of its own.
        """
        page = self._writer.sent.pop(message, None)
        for alarm in () if page is None else page.alarms:
            subject, _, name = alarm.partition("/")
            incident = self._incidents.of(subject, name)
            if incident is None or page is None or not incident.open or page.at < incident.at:
                continue
            line = self._called(incident, "all", at)
            new = [call for call in line if call.person not in incident.rung_now]
            self.ring(new[:1], incident, at)
