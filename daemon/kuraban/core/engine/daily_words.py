"""The two words of the day: in the evening whether the night will be quiet, in the morning how it
was. Each goes out at the hour that the site names, and only where something is judged."""

from __future__ import annotations

from functools import partial

from kuraban.core.alarms.alarm_manager import AlarmManager
from kuraban.core.conditions import BREWER, CONDITIONS, MAINTENANCE
from kuraban.core.deadlines import Deadlines, Evening, Morning
from kuraban.core.effects import Message, Step
from kuraban.core.house_view import HouseView
from kuraban.core.notify import reports
from kuraban.core.notify.notifier import Notifier
from kuraban.core.texts import messages as wording
from kuraban.core.units import next_clock


class DailyWords:
    def __init__(
        self, view: HouseView, alarm_manager: AlarmManager, notifier: Notifier, deadlines: Deadlines
    ) -> None:
        self._view, self._alarm_manager = view, alarm_manager
        self._notifier, self._deadlines = notifier, deadlines
        self.night: list[Step | Message] = []
        """What was told since the evening, as far as it was drained."""
        self._night_since = 0.0

    def begin(self, now: float) -> None:
        self._await(Morning(), now)
        self._await(Evening(), now)

    def _await(self, word: Morning | Evening, now: float) -> None:
        house = self._view.house
        clock = house.site.evening if isinstance(word, Evening) else house.site.day_starts
        self._deadlines.add(next_clock(now, clock, house.zone), word)

    def evening(self, now: float) -> None:
        self._await(Evening(), now)
        view, notices = self._view, self._notifier.notices
        self._night_since = now
        self.night = [event for event in self.night if event.at > now]
        if reports.month_begins(view.house, now):
            old = reports.old_ice_points(view.house, now)
            notices.to_role(MAINTENANCE, now, partial(wording.monthly, now, old))
        if reports.evening_due(view, now):
            word = reports.evening_word(view, now)
            notices.to_role(BREWER, now, partial(wording.evening, word))

    def morning(self, now: float) -> None:
        self._await(Morning(), now)
        view, notifier = self._view, self._notifier
        waiting = notifier.duty_alarms.reported()
        if not reports.anything_judged(view, now) and not waiting:
            return
        night = [e for e in (*self.night, *notifier.writer.story) if e.at >= self._night_since]
        report = reports.morning_report(view, self._alarm_manager, night, waiting, now)
        roles = {CONDITIONS[condition].role for _, condition in waiting} - {BREWER}
        for role in (BREWER, *sorted(roles)):
            notifier.notices.to_role(
                role, now, partial(wording.morning, report), partial(wording.asks, report)
            )
