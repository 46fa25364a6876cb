"""The two words of the day: in the evening whether the night will be quiet, in the morning how it
was. Each goes out at the hour that the site names, and only where something is judged.

When the wall clock steps, they follow it: a word whose hour was stepped over is told at once, and
one that was told just now is not told again when its hour comes for the second time."""

from __future__ import annotations

from typing import Final, Literal

from kuraban.core.alarms.alarm_manager import AlarmManager
from kuraban.core.conditions import BREWER, CONDITIONS, MAINTENANCE
from kuraban.core.deadlines import Deadlines
from kuraban.core.effects import Message, Step
from kuraban.core.house_view import HouseView
from kuraban.core.notify import reports
from kuraban.core.notify.notifier import Notifier
from kuraban.core.texts import messages as wording
from kuraban.core.units import HOUR, next_clock

Name = Literal["morning", "evening"]
NAMES: Final[tuple[Name, ...]] = ("morning", "evening")
AGAIN = 6 * HOUR
"""Sooner after it was told a word is not told again."""


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
        self._night_since = 0.0
        self._due: dict[Name, float] = {}
        """When each is to be told; what the agenda has besides is void."""
        self._last: dict[Name, float] = {}
        """When its hour came last."""

    def begin(self, now: float) -> None:
        for name in NAMES:
            self._await(name, now)

    def _await(self, name: Name, now: float) -> None:
        house = self._view.house
        clock = house.site.evening if name == "evening" else house.site.day_starts
        self._plan(name, next_clock(now, clock, house.zone))

    def _plan(self, name: Name, due: float) -> None:
        self._due[name] = due
        self._deadlines.add(due, name)

    def stepped(self, by: float, now: float) -> None:
        """The wall clock went `by` seconds forward."""
        for name in NAMES:
            again = self._last.get(name, now - AGAIN) + AGAIN
            if again <= now and self._due[name] - by <= now:
                self._plan(name, now)
            else:
                self._await(name, max(now, again))

    def _comes(self, name: Name, now: float) -> bool:
        """Whether it is to be told now."""
        if now < self._due[name]:
            return False
        self._last[name] = now
        self._await(name, now)
        return True

    def evening(self, now: float) -> None:
        if not self._comes("evening", now):
            return
        view, notifier = self._view, self._notifier
        self._night_since = now
        self.night = [event for event in self.night if event.at >= now]
        if reports.month_begins(view.house, now):
            old = reports.old_ice_points(view.house, now)
            notifier.notice(MAINTENANCE, now, lambda *tongue: wording.monthly(now, old, *tongue))
        if reports.evening_due(view, now):
            word = reports.evening_word(view, now)
            notifier.notice(BREWER, now, lambda *tongue: wording.evening(word, *tongue))

    def morning(self, now: float) -> None:
        if not self._comes("morning", now):
            return
        view, notifier = self._view, self._notifier
        waiting, notifier.waiting = notifier.waiting, []
        if not reports.anything_judged(view, now) and not waiting:
            return
        night = [e for e in (*self.night, *notifier.story) if e.at >= self._night_since]
        report = reports.morning_report(view, self._alarm_manager, night, waiting, now)
        roles = {CONDITIONS[condition].role for _, condition in waiting} - {BREWER}
        for role in (BREWER, *sorted(roles)):
            notifier.notice(
                role, now, lambda *tongue: wording.morning(report, *tongue),
                asks=lambda *tongue: wording.asks(report, *tongue),
            )  # fmt: skip
