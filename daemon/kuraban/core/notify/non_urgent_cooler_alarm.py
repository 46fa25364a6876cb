"""A cooler's failing while everything that it serves has many hours: told once, without a sound.

It rings when the hours grow short, or are not known any more.
"""

from __future__ import annotations

from functools import partial

from kuraban.core.alarm_conditions import CONDITIONS, COOLER_WAKES
from kuraban.core.alarms.life_cycle import Alarm
from kuraban.core.deadlines import Deadlines, HoursInHand
from kuraban.core.forecast.time_to_limit import hours_in_hand
from kuraban.core.house_view import HouseView
from kuraban.core.notify.climbing import Climbing
from kuraban.core.notify.incidents import Incident, Incidents, Key
from kuraban.core.notify.ladder import called
from kuraban.core.notify.message_writer import MessageWriter
from kuraban.core.texts import messages
from kuraban.core.units import MINUTE

SOUNDLESS_ABOVE, RINGS_BELOW = 8.0, 6.0
"""Hours in hand of every served place."""
LOOK_AT_HOURS = 10 * MINUTE


def lets_sleep(hours: float | None) -> bool:
    """Whether hours in hand are enough not to ring at all; unknown ones never are."""
    return hours is not None and hours > SOUNDLESS_ABOVE


def lets_sleep_on(hours: float | None) -> bool:
    """Whether they still are, for what was told without a sound."""
    return hours is not None and hours >= RINGS_BELOW


class QuietCoolerAlarm:
    def __init__(
        self, view: HouseView, deadlines: Deadlines, incidents: Incidents, climbing: Climbing,
        writer: MessageWriter,
    ) -> None:  # fmt: skip
        self._view, self._deadlines, self._incidents = view, deadlines, incidents
        self._climbing, self._writer = climbing, writer

    def applies(self, alarm: Alarm, at: float) -> bool:
        """Whether there are hours enough to let everybody sleep; never for a heater."""
        if alarm.condition not in COOLER_WAKES or self._view.house.cooler[alarm.subject].heats:
            return False
        return lets_sleep(hours_in_hand(self._view, alarm.subject, at))

    def tell(self, incident: Incident, alarm: Alarm, at: float) -> None:
        incident.urgency = "duty"
        self._deadlines.add(at + LOOK_AT_HOURS, HoursInHand(incident.key))
        house = self._view.entry_log.manned
        for call in called(house, CONDITIONS[alarm.condition], "first", at, 0):
            incident.tell(call.person)
            text_of = partial(messages.soundless, self._writer.situation(alarm, at))
            self._writer.notice(at, call, "duty", text_of, (alarm.id,))

    def look_again(self, key: Key, at: float) -> None:
        """It rings when the hours grow short."""
        incident = self._incidents.standing.get(key)
        if incident is None or not incident.open or incident.urgency == "wake":
            return
        if lets_sleep_on(hours_in_hand(self._view, key[0], at)):
            self._deadlines.add(at + LOOK_AT_HOURS, HoursInHand(key))
            return
        incident.begin(at, "wake", incident.role, incident.quick)
        self._climbing.begin(incident)
