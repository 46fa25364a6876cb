"""The watch is itself one of the things that can fail: its parts, and the watch as a whole.

What comes and goes rings once: a part must fail for a while before it is told, and be well for a
while before that is over. Where nobody watched, silence means nothing until the probes have had
time to be heard again; then one message says what runs and what moved.
"""

from __future__ import annotations

from kuraban.core.alarms.alarm_manager import AlarmManager
from kuraban.core.course import FAR_FUTURE
from kuraban.core.deadlines import Deadlines
from kuraban.core.facts import Impaired, Part
from kuraban.core.house_view import Finding, HouseView
from kuraban.core.notify import reports
from kuraban.core.notify.notifier import Notifier
from kuraban.core.site import WATCH
from kuraban.core.units import MINUTE

PARTS: dict[Part, str] = {
    "broker": "broker-lost",
    "journal": "journal-failing",
    "pages": "pages-failing",
    "history": "history-behind",
    "intake": "behind",
}
HELD_FOR: dict[Part, float] = {"broker": 2 * MINUTE, "intake": 20.0}
"""So long a part must fail before it is told."""
WELL_FOR: dict[Part, float] = {"broker": 2 * MINUTE, "pages": 5 * MINUTE, "intake": 2 * MINUTE}
"""So long a part must be well again before it is over."""
BACK_FOR = 5 * MINUTE
"""So long after the watch is back its probes have time to be heard, and then it is told."""


class SelfMonitoring:
    def __init__(
        self, view: HouseView, alarm_manager: AlarmManager, notifier: Notifier, deadlines: Deadlines
    ) -> None:
        self._view, self._alarm_manager, self._notifier, self._deadlines = (
            view,
            alarm_manager,
            notifier,
            deadlines,
        )
        self.impaired: dict[str, float] = {}
        """Parts of the watch that fail, by condition, and since when."""
        self._evidence: dict[str, tuple[str, ...]] = {}
        """What the part `intake` said of itself, by condition."""
        self._well_since: dict[str, float] = {}
        """When each part was mended last."""
        self._away_since: float | None = None

    def take(self, fact: Impaired, now: float) -> None:
        """A part fails, or is well again."""
        if fact.part == "watch":
            self._away(fact.holds, now)
            return
        condition = PARTS[fact.part]
        if not fact.holds:
            self.impaired = {c: at for c, at in self.impaired.items() if c != condition}
            self._well_since[condition] = now
            well = now + WELL_FOR.get(fact.part, 0.0)
            self._deadlines.add(well, "mended", condition, now)
        elif condition not in self.impaired:
            self.impaired = {**self.impaired, condition: now}
            self._evidence[condition] = tuple(fact.reason.split() * (fact.part == "intake"))
            held = HELD_FOR.get(fact.part, 0.0)
            self._deadlines.add(now + held, "impaired", condition, now)

    def tell(self, now: float, condition: str, since: float) -> None:
        """It has failed for long enough, if it still fails."""
        if self.impaired.get(condition) == since:
            evidence = self._evidence.get(condition, ())
            self._alarm_manager.take(
                Finding(WATCH, condition, True, now, since=since, evidence=evidence)
            )

    def mend(self, now: float, condition: str, since: float) -> None:
        """It has been well for long enough, if it still is."""
        if condition not in self.impaired and self._well_since.get(condition) == since:
            self._alarm_manager.take(Finding(WATCH, condition, False, now))

    def _away(self, gone: bool, now: float) -> None:
        """Nobody watched from the one fact to the other."""
        if gone:
            self._away_since, self._view.blind = now, FAR_FUTURE
        elif self._away_since is not None:
            self._view.blind = now + BACK_FOR
            self._deadlines.add(self._view.blind, "back", self._away_since, now)
            self._away_since = None

    def back(self, now: float, since: float, until: float) -> None:
        if reports.anything_judged(self._view, now):
            self._notifier.back_again(since, until, now)
