"""The two words of the day: in the evening whether the night will be quiet, in the morning how it
was. Each goes out once a day, at the hour that the site names, and only where something is judged.
A word whose hour the wall clock steps over is told at once.
"""

from __future__ import annotations

from datetime import date
from functools import partial

import msgspec

from kuraban.core.alarm_conditions import BREWER, CONDITIONS, MAINTENANCE
from kuraban.core.alarms.alarm_manager import AlarmManager
from kuraban.core.deadlines import Deadlines, Evening, Morning
from kuraban.core.effects import Message, Step
from kuraban.core.house_view import HouseView
from kuraban.core.notify import reports
from kuraban.core.notify.notifier import Notifier
from kuraban.core.texts import messages
from kuraban.core.units import DAY, HOUR, brewery_day, next_clock

NOON, DUSK = 12 * HOUR, 18 * HOUR
ANEW = 6 * HOUR
"""A word that was told so much too early is told again at its hour."""
LATEST = 6 * HOUR
"""So late a word is still of use."""


class Planned(msgspec.Struct):
    """When a word comes next, and the day of the last one."""

    turns: float
    """Hour of the clock at which its day turns, where nobody would set the word."""
    at: float = 0.0
    said: date | None = None


class DailyWords:
    def __init__(
        self, view: HouseView, alarm_manager: AlarmManager, notifier: Notifier, deadlines: Deadlines
    ) -> None:
        self._view, self._alarm_manager = view, alarm_manager
        self._notifier, self._deadlines = notifier, deadlines
        self.night: list[Step | Message] = []
        """What was told since the evening, as far as it was drained."""
        self.night_since = 0.0
        self.morning_plan, self.evening_plan = Planned(DUSK), Planned(NOON)

    def plan(self, now: float) -> None:
        """Plan both words by the hours that the site names, which may have changed.

        A word that its day has had comes on the next day. One that the day has not had comes at the
        old hour where the new one is over.
        """
        self._stepped_over(0.0, now)

    def stepped(self, by: float, now: float) -> None:
        """The wall clock went `by` seconds forward; where it went far back, the day comes anew."""
        if by <= -ANEW:
            self.morning_plan.said = self.evening_plan.said = None
        self._stepped_over(by, now)

    def _stepped_over(self, by: float, now: float) -> None:
        for word in (self.morning_plan, self.evening_plan):
            over = now < word.at <= now + by and self._day(word, now) != word.said
            self._set(word, now if over else self._next(word, now))

    def _set(self, word: Planned, at: float) -> None:
        if at != word.at:
            word.at = at
            deadline = Morning if word is self.morning_plan else Evening
            self._deadlines.add(at, deadline(at))

    def _next(self, word: Planned, now: float) -> float:
        site = self._view.house.site
        clock = site.day_starts if word is self.morning_plan else site.evening
        ahead = next_clock(now, clock, self._view.house.zone)
        day, planned = self._day(word, ahead), self._day(word, word.at)
        if day == word.said:
            return next_clock(ahead, clock, self._view.house.zone)
        return word.at if now < word.at and planned < day and planned != word.said else ahead

    def _day(self, word: Planned, at: float) -> date:
        return brewery_day(at, word.turns, self._view.house.zone)

    def _begins(self, word: Planned, planned: float, now: float) -> bool:
        """Whether a word that was planned is to be said, now: of those that were due while nobody
        watched, one that is not too late. The next one is planned."""
        if planned != word.at:
            return False
        word.said = self._day(word, planned)
        self._set(word, self._next(word, planned))
        return now - planned <= LATEST

    def evening(self, planned: float, now: float) -> None:
        if not self._begins(self.evening_plan, planned, now):
            return
        view, notices = self._view, self._notifier.notices
        self.night_since = planned
        self.night = [event for event in self.night if event.at >= planned]
        if reports.month_begins(view.house, now):
            old = reports.old_ice_points(view.house, now)
            notices.to_role(MAINTENANCE, now, partial(messages.monthly, now, old))
        if reports.evening_due(view, now):
            word = reports.evening_word(view, now)
            notices.to_role(BREWER, now, partial(messages.evening, word))

    def morning(self, planned: float, now: float) -> None:
        if not self._begins(self.morning_plan, planned, now):
            return
        view, notifier = self._view, self._notifier
        waiting = notifier.deferred_alarms.reported()
        if not reports.anything_judged(view, now) and not waiting:
            return
        since = max(self.night_since, now - DAY)
        night = [e for e in (*self.night, *notifier.writer.story) if e.at >= since]
        report = reports.morning_report(view, self._alarm_manager, night, waiting, now)
        roles = {CONDITIONS[condition].role for _, condition in waiting} - {BREWER}
        for role in (BREWER, *sorted(roles)):
            notifier.notices.to_role(
                role, now, partial(messages.morning, report), partial(messages.asks, report)
            )
