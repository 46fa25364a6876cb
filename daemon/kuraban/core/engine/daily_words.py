"""The two words of the day: in the evening whether the night will be quiet, in the morning how it
was. Each goes out at the hour that the site names, and only where something is judged."""

from __future__ import annotations

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
        self._view, self._alarm_manager, self._notifier, self._deadlines = (
            view,
            alarm_manager,
            notifier,
            deadlines,
        )
        self.night: list[Step | Message] = []
        """What was told since the evening, as far as it was drained."""
        self.night_since = 0.0

    def begin(self, now: float) -> None:
        self._await(Morning(), now)
        self._await(Evening(), now)

    def _await(self, word: Morning | Evening, now: float) -> None:
        house = self._view.house
        clock = house.site.evening if isinstance(word, Evening) else house.site.day_starts
        self._deadlines.add(next_clock(now, clock, house.zone), word)

    def evening(self, now: float) -> None:
        self._await(Evening(), now)
        view, notifier = self._view, self._notifier
        self.night_since = now
        self.night = [event for event in self.night if event.at > now]
        if reports.month_begins(view.house, now):
            old = reports.old_ice_points(view.house, now)
            notifier.notice(MAINTENANCE, now, lambda *tongue: wording.monthly(now, old, *tongue))
        if reports.evening_due(view, now):
            word = reports.evening_word(view, now)
            notifier.notice(BREWER, now, lambda *tongue: wording.evening(word, *tongue))

    def morning(self, now: float) -> None:
        self._await(Morning(), now)
        view, notifier = self._view, self._notifier
        waiting, notifier.waiting = notifier.waiting, []
        if not reports.anything_judged(view, now) and not waiting:
            return
        night = [e for e in (*self.night, *notifier.story) if e.at >= self.night_since]
        report = reports.morning_report(view, self._alarm_manager, night, waiting, now)
        roles = {CONDITIONS[condition].role for _, condition in waiting} - {BREWER}
        for role in (BREWER, *sorted(roles)):
            notifier.notice(
                role, now, lambda *tongue: wording.morning(report, *tongue),
                asks=lambda *tongue: wording.asks(report, *tongue),
            )  # fmt: skip
