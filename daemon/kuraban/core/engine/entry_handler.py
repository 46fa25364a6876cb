"""What becomes of an entry: it counts once, at its time, and what it touches looks at once.

The entry log takes it in (`kuraban.core.plan.entry_log`), unless a second person must say so first
(`kuraban.core.engine.pending_entries`) or it does not fit, which is kept beside the reason. Some
entries are answers to alarms: somebody has one in hand, or wants to hear nothing of it for a while.
"""

from __future__ import annotations

from collections.abc import Callable

import msgspec

from kuraban.core import entries as e
from kuraban.core.alarms.alarm_manager import AlarmManager
from kuraban.core.conditions import CONDITIONS
from kuraban.core.course import FAR_FUTURE
from kuraban.core.deadlines import BatchEnded, Deadlines, EntryCounts, ShelfEnds
from kuraban.core.engine.affected_subjects import near, touched
from kuraban.core.engine.detector_registry import DetectorRegistry
from kuraban.core.engine.pending_entries import PendingEntries
from kuraban.core.facts import Logged, Refusal
from kuraban.core.house_state import HouseState
from kuraban.core.house_view import HouseView
from kuraban.core.notify.notifier import Notifier
from kuraban.core.plan.subject_state import Refused
from kuraban.core.units import DAY, MINUTE

ENTRIES_KNOWN = 45 * DAY


class EntryHandler:
    """Takes entries. `record` is where facts go."""

    def __init__(
        self,
        state: HouseState,
        view: HouseView,
        alarm_manager: AlarmManager,
        notifier: Notifier,
        deadlines: Deadlines,
        registry: DetectorRegistry,
        record: Callable[[Logged | Refusal], None],
    ) -> None:
        self._entry_log, self._view = state.entry_log, view
        self._alarm_manager, self._notifier = alarm_manager, notifier
        self._deadlines, self._judge, self._record = deadlines, registry, record
        self.pending = PendingEntries()
        """Entries that wait for a second person."""
        self.seen: dict[tuple[str, str], float] = {}
        """Entries already taken, by subject and id."""
        self._ends: set[tuple[float, str]] = set()
        """When the batch of which place ends by the clock, as far as the agenda knows."""

    def take(self, logged: Logged, now: float) -> bool:
        """An entry as it comes, which counts from its own time on. Whether it is a new one."""
        if logged.key in self.seen:
            return False
        self.seen[logged.key] = now
        if logged.at > now:
            self._record(logged)
            self._deadlines.add(logged.at, EntryCounts(logged))
            return True
        logged = self._with_value(logged, now)
        self._record(logged)
        self.count(now, logged)
        return True

    def forget(self, now: float) -> None:
        """What is too old to come again, or to be asked about."""
        self.seen = {key: at for key, at in self.seen.items() if now - at < ENTRIES_KNOWN}
        self._entry_log.prune(now - 7 * DAY)

    def _with_value(self, logged: Logged, now: float) -> Logged:
        """The entry and what its place read at its time."""
        view = self._view
        if logged.seen is not None or logged.subject not in view.places:
            return logged
        seen = view.places[logged.subject].series.before(logged.at)
        known = view.product(logged.subject, now)
        if known is not None and logged.at >= now - MINUTE:
            seen = known[0]
        return msgspec.structs.replace(logged, seen=seen)

    def count(self, now: float, logged: Logged) -> None:
        """An entry takes effect, at its time or as soon as it is known."""
        logged = self._with_value(logged, now)
        ready = self.pending.weigh(logged, self._view, now)
        if ready is None:
            if logged.id in self.pending.held:
                self._notifier.notices.ask(logged, now)
            return
        self._take_effect(ready, now)

    def _take_effect(self, logged: Logged, now: float) -> None:
        entry, before = logged.entry, touched(self._view, logged)
        try:
            _check_alarm_names(entry)
            if isinstance(entry, e.OutOfService):
                self._alarm_manager.remove(logged.subject, now, logged.by)
            self._entry_log.add(logged)
        except Refused as refused:
            reason = f"{e.kind_of(entry)}: {refused}"
            self._record(Refusal(f"log/{logged.subject}", now, reason, logged.id))
            return
        self._answer(logged, now)
        after = touched(self._view, logged)
        subjects = None if before is None or after is None else before | after
        self.wait_for_ends(subjects, now)
        self._judge.look_at(subjects, now)
        if isinstance(entry, e.InService):
            self._alarm_manager.restore(logged.subject, now, logged.by)

    # Batches that end by the clock.

    def wait_for_ends(self, subjects: set[str] | None, now: float) -> None:
        """Courses whose last stage ends by the clock end their batch at that moment."""
        places = self._view.house.place
        for place in sorted(places if subjects is None else subjects & places.keys()):
            batch = self._view.batch(place, now)
            end = FAR_FUTURE if batch is None else batch.plan.spans[-1].end
            if now < end < FAR_FUTURE and (end, place) not in self._ends:
                self._ends.add((end, place))
                self._deadlines.add(end, BatchEnded(place))

    def ended(self, now: float, place: str) -> None:
        self._ends = {known for known in self._ends if known[0] > now}
        self._entry_log.version += 1
        self._judge.look_at(near(self._view, {place}), now)

    # What an entry does to alarms.

    def _answer(self, logged: Logged, now: float) -> None:
        entry, subject, by = logged.entry, logged.subject, logged.by
        match entry:
            case e.Acknowledge(condition=condition, for_=within):
                self._acknowledge(subject, condition, now, by, within)
            case e.LetRun(for_=within):
                for name in ("warm", "cold", "trending-warm", "trending-cold"):
                    self._acknowledge(subject, name, now, by, within)
            case e.Shelve():
                self._shelve(logged, entry, now)
            case e.Unshelve(condition=condition):
                self._alarm_manager.unshelve(subject, condition, now, by)
            case _:
                pass

    def _acknowledge(
        self, subject: str, condition: str | None, now: float, by: str | None, within: float | None
    ) -> None:
        names: list[str | None] = [condition]
        if condition is not None:
            names = [*self._notifier.incidents.members(subject, condition)] or [condition]
        for name in names:
            self._alarm_manager.acknowledge(subject, name, now, by, within)

    def _shelve(self, logged: Logged, entry: e.Shelve, now: float) -> None:
        subject, condition, until = logged.subject, entry.condition, logged.at + entry.for_
        if until > now:
            self._alarm_manager.shelve(
                subject, condition, now, until, logged.by, entry.once, entry.reason
            )
            self._deadlines.add(until, ShelfEnds(subject, condition, until))


def _check_alarm_names(entry: e.Entry) -> None:
    condition = getattr(entry, "condition", None)
    if condition is not None and condition not in CONDITIONS:
        raise Refused(f"no condition '{condition}'; they are {', '.join(sorted(CONDITIONS))}")
