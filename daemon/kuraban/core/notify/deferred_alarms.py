"""What can wait: it rings in duty hours and whoever is awake for it, else in the morning report."""

from __future__ import annotations

from kuraban.core import rota
from kuraban.core.alarm_conditions import CONDITIONS, CREW
from kuraban.core.alarms.life_cycle import Alarm
from kuraban.core.house_view import HouseView
from kuraban.core.notify.climbing import Climbing
from kuraban.core.notify.gathering import Gathering
from kuraban.core.notify.incidents import Incident
from kuraban.core.notify.ladder import Call, called_on_duty
from kuraban.core.units import HOUR, MINUTE

TOGETHER = 2 * MINUTE
"""So long a probe's alarm waits for its neighbours', which often have one cause."""
HANDS_WITHIN = 1 * HOUR
OVERDUE = frozenset({"stage-overdue"})
"""What nobody is rung for while the whole crew is away: it waits for the morning report."""


class DeferredAlarms:
    def __init__(self, view: HouseView, climbing: Climbing, gathering: Gathering) -> None:
        self._view, self._climbing, self._gathering = view, climbing, gathering
        self.waiting: list[tuple[str, str]] = []
        """What rang nobody and goes into the morning report."""

    def tell(self, incident: Incident, alarm: Alarm, at: float) -> None:
        manned = self._view.entry_log.manned
        if alarm.condition in OVERDUE and rota.all_away(manned, CREW, at):
            self.waiting.append((alarm.subject, alarm.condition))
            return
        condition = CONDITIONS[alarm.condition]
        hands = self._hands(alarm, at)
        known = {call.person for call in hands}
        calls = hands + [
            call for call in called_on_duty(manned, condition, at) if call.person not in known
        ]
        if condition.owner == "probe" and not hands:
            for call in calls:
                incident.tell(call.person)
                self._gathering.wait(call.person, alarm, at + TOGETHER)
        else:
            self._climbing.ring(calls, incident, at)
        if not calls:
            self.waiting.append((alarm.subject, alarm.condition))

    def over(self, alarm: Alarm) -> None:
        """What came right and was seen waits no longer."""
        if (alarm.subject, alarm.condition) in self.waiting and not alarm.stands:
            self.waiting.remove((alarm.subject, alarm.condition))

    def reported(self) -> list[tuple[str, str]]:
        """What waited, which the morning report tells now."""
        waiting, self.waiting = self.waiting, []
        return waiting

    def _hands(self, alarm: Alarm, at: float) -> list[Call]:
        """For a displaced probe: whoever logged work at its place within the hour."""
        if alarm.condition != "displaced":
            return []
        house = self._view.house
        place = house.probe[alarm.subject].of
        who = self._view.recently_worked(place, alarm.since or at, HANDS_WITHIN)
        person = house.person_called(who)
        if person is None:
            return []
        roles = [duty.role for duty in house.rota if duty.person == person.id]
        return [Call(person.id, roles[0] if roles else CREW, 0)]
