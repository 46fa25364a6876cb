"""What an entry does: it counts once, at its time, and what it touches looks at once.

Whether it counts is decided in `core.fates.entry_decisions`. Some entries are answers to alarms:
somebody has one in hand, or wants to hear nothing of it for a while. What takes a tank out of the
watch is told to the brewer, whoever did it.
"""

from __future__ import annotations

from collections.abc import Callable

import msgspec

from kuraban.core import entries as e
from kuraban.core.alarms.alarm_manager import AlarmManager
from kuraban.core.deadlines import BatchEnded, Deadlines, EntryCounts, EntryLapses, ShelfEnds
from kuraban.core.engine.affected_subjects import near, touched
from kuraban.core.engine.detector_registry import DetectorRegistry
from kuraban.core.facts import EntryOutcome, Logged
from kuraban.core.fates.entry_authority import Touch
from kuraban.core.fates.entry_decisions import CORRECTED_WITHIN, EntryDecisions, Ready
from kuraban.core.fates.known_entries import KnownEntries
from kuraban.core.fates.pending_entries import WAITS, PendingEntries
from kuraban.core.house_state import HouseState
from kuraban.core.house_view import HouseView
from kuraban.core.notify.notifier import Notifier
from kuraban.core.planned_curve import FAR_FUTURE
from kuraban.core.units import MINUTE

UNWATCHES = (e.OutOfService, e.BatchEnd, e.Press, e.TakeBack, e.Amend)
"""Entries that can take a tank out of the watch; mash that is carried away is watched there."""


LESS = (Touch.LONG_SHELF, Touch.LETS_RUN_FAR, Touch.PLANS_FAR, Touch.LAST_PROBE)
"""What leaves a tank in the watch and might keep it from being heard."""


class EntryHandler:
    """Takes entries. `record` is where they, and what became of them, go."""

    def __init__(
        self,
        state: HouseState,
        view: HouseView,
        alarm_manager: AlarmManager,
        notifier: Notifier,
        deadlines: Deadlines,
        registry: DetectorRegistry,
        record: Callable[[Logged | EntryOutcome], None],
    ) -> None:
        self._entry_log, self._view = state.entry_log, view
        self._alarm_manager, self._notifier = alarm_manager, notifier
        self._deadlines, self._judge, self._record = deadlines, registry, record
        self.decisions = EntryDecisions(state.entry_log, view, record)
        self.known = KnownEntries()
        self._ends: set[tuple[float, str]] = set()
        """When the batch of which place ends by the clock, as far as the agenda knows."""

    @property
    def pending(self) -> PendingEntries:
        """Entries that wait for a second person."""
        return self.decisions.pending

    def take(self, logged: Logged, now: float) -> bool:
        """An entry as it comes, which counts from its own time on. Whether it is a new one."""
        if not self.known.add(logged.key):
            return False
        if logged.at > now:
            self._record(logged)
            self._deadlines.add(logged.at, EntryCounts(logged))
            return True
        logged = self._with_value(logged, now)
        self._record(logged)
        self.count(now, logged)
        return True

    def forget(self, now: float) -> None:
        """What is too old to be asked about."""
        self._entry_log.prune(now - CORRECTED_WITHIN)

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
        ready = self.decisions.weigh(logged, now)
        if ready is not None:
            self._take_effect(ready, now)
        elif logged.key in self.pending.held:
            self._await_lapse(logged, now)
            self._notifier.notices.ask(logged, now)

    def _await_lapse(self, logged: Logged, now: float) -> None:
        """What waits for a second person falls away a day after it came."""
        lapses = EntryLapses(*logged.key)
        if all(item.deadline != lapses for item in self._deadlines.items):
            self._deadlines.add(max(logged.received + WAITS, now), lapses)

    def hold(self, logged: Logged, now: float) -> None:
        """An entry of before a restart that waits."""
        self.pending.hold(logged, self.pending.touch(logged, self._view, now))
        self._await_lapse(logged, now)

    def restore(
        self, logged: Logged, outcome: EntryOutcome, cause: Logged | None, now: float
    ) -> None:
        """An entry of before a restart, which by `outcome` waits, or counted, by `cause`: that is
        not decided anew."""
        self.known.add(logged.key)
        if outcome.fate == "waiting":
            self.hold(logged, now)
        elif outcome.counts:
            self._take_effect(Ready(logged, cause if outcome.fate == "confirmed" else None), now)

    def lapse(self, now: float) -> None:
        self.decisions.lapse(now)

    def tell_changes(self, now: float) -> None:
        """The books were folded anew for another house, in which an entry may no longer fit."""
        self.decisions.tell_changes(now)

    def _take_effect(self, ready: Ready, now: float) -> None:
        logged = ready.logged
        before, out = touched(self._view, logged), set(self._entry_log.out)
        touch = self.pending.touch(logged, self._view, now)
        watched = self._watched(now) if isinstance(logged.entry, UNWATCHES) else {}
        if not self.decisions.settle(ready, now):
            return
        for subject in sorted(self._entry_log.out - out):
            self._alarm_manager.remove(subject, now, logged.by)
        self._answer(logged, now)
        after = touched(self._view, logged)
        subjects = None if before is None or after is None else before | after
        self.wait_for_ends(subjects, now)
        self._judge.look_at(subjects, now)
        for subject in sorted(out - self._entry_log.out):
            self._alarm_manager.restore(subject, now, logged.by)
        self._tell_unwatched(ready, watched, now)
        if touch in LESS:
            probe = self._view.house.probe.get(logged.subject)
            place = logged.subject if probe is None else probe.of
            self._notifier.notices.watched_less(place, logged, _hands(ready), now)

    # What is watched no more.

    def _watched(self, now: float) -> dict[str, str]:
        """The places in which a batch is judged, and its name."""
        batches = ((place, self._view.batch(place, now)) for place in self._view.places)
        return {
            place: batch.name
            for place, batch in batches
            if batch is not None and self._view.in_service(place)
        }

    def _tell_unwatched(self, ready: Ready, before: dict[str, str], now: float) -> None:
        """Every batch that is not judged any more where it was, to the brewer."""
        after = self._watched(now) if before else {}
        for place, batch in before.items():
            if after.get(place) != batch:
                self._notifier.notices.unwatched(place, ready.logged, _hands(ready), now)

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


def _hands(ready: Ready) -> tuple[str | None, ...]:
    """Who made an entry, and who confirmed it."""
    return ready.logged.by, None if ready.confirmed is None else ready.confirmed.by
