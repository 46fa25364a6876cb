"""Everything that comes with a house under watch: how it stands, who looks, who tells, who answers.

Made whole when the house is known, and settled anew when it changes.
"""

from __future__ import annotations

from collections.abc import Callable

from kuraban.core.alarms.alarm_manager import AlarmManager
from kuraban.core.alarms.life_cycle import Alarm
from kuraban.core.deadlines import Deadlines
from kuraban.core.engine.conclusions import Conclusions
from kuraban.core.engine.daily_words import DailyWords
from kuraban.core.engine.detector_registry import DetectorRegistry
from kuraban.core.engine.log_entry_handler import EntryHandler
from kuraban.core.engine.look_timers import Timers
from kuraban.core.engine.self_monitoring import SelfMonitoring
from kuraban.core.facts import EntryOutcome, Logged
from kuraban.core.house_state import HouseState
from kuraban.core.house_view import HouseView
from kuraban.core.notify.notifier import Notifier
from kuraban.core.probes.belief import Belief
from kuraban.core.site import House
from kuraban.core.texts.messages import Words


class WatchedHouse:
    """`record` is where facts go; findings of what is `left_out` reach nobody."""

    def __init__(
        self,
        house: House,
        now: float,
        words: Words,
        timers: Timers,
        deadlines: Deadlines,
        record: Callable[[Logged | EntryOutcome], None],
        left_out: frozenset[str],
    ) -> None:
        self.state = HouseState(house, now)
        self.view = HouseView(self.state)
        self.belief = Belief(self.state.probe_states, self.state.places)
        alarms: dict[tuple[str, str], Alarm] = {}
        self.notifier = Notifier(self.view, alarms, deadlines, words)
        self.alarm_manager = AlarmManager(self.view, alarms, self.notifier)
        self.conclusions = Conclusions(
            self.state, self.belief, self.alarm_manager, self.notifier.notices, left_out
        )
        tell = self.conclusions.take
        self.registry = DetectorRegistry(self.state, self.view, tell, timers)
        hands = self.alarm_manager, self.notifier, deadlines
        self.entry_handler = EntryHandler(self.state, self.view, *hands, self.registry, record)
        self.self_monitoring = SelfMonitoring(
            self.state, self.view, tell, self.notifier.notices, deadlines
        )
        self.daily_words = DailyWords(self.view, *hands)

    def begin(self, now: float) -> None:
        """Everybody looks for the first time."""
        self.daily_words.plan(now)
        self._look(now)

    def change(self, house: House, now: float) -> None:
        """The house is another now; what stays in it goes on as it was."""
        before, after = _subjects(self.state.house), _subjects(house)
        for subject in sorted(before - after):
            self.alarm_manager.remove(subject, now, None)
        self.state.settle_in(house)
        self.state.entry_log.refold()
        self.entry_handler.tell_changes(now)
        self.daily_words.plan(now)
        self._look(now)
        for subject in sorted(after - before):
            if self.view.in_service(subject):
                self.alarm_manager.restore(subject, now, None)

    def step(self, house: House, by: float, now: float) -> None:
        """The same house, whose wall clock moved by so many seconds."""
        self.state.settle_in(house)
        self.state.entry_log.refold()
        self.entry_handler.tell_changes(now)
        self.entry_handler.wait_for_ends(None, now)
        self.daily_words.stepped(by, now)
        self.registry.clocks.stepped(by, now)
        self._look(now)

    def _look(self, now: float) -> None:
        self.registry.settle_in(now)
        self.registry.look_at(None, now)


def _subjects(house: House) -> set[str]:
    return {*house.place, *house.cooler, *house.probe}
