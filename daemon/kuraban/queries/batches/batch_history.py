"""Which batch stood where, and under which plan, since the journal began.

The entries are folded once more, with the watch's own books: what waited for a second person, was
refused or taken back counts here as it counted there. Only entries that move a batch or its plan
are taken. The fold is kept and caught up at each question, since a season's entries take a second.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import msgspec

from kuraban.core import entries as e
from kuraban.core.course import Course
from kuraban.core.engine.pending_entries import PendingEntries
from kuraban.core.facts import Logged
from kuraban.core.house_state import HouseState
from kuraban.core.house_view import HouseView
from kuraban.core.plan.subject_state import Batch, Refused
from kuraban.core.site import House
from kuraban.core.timescale import pieces_of
from kuraban.core.units import DAY
from kuraban.store.history import History

TAKEN = (
    e.BatchStart, e.StageMark, e.Hold, e.Aim, e.Plan, e.BatchEnd, e.Move, e.Split, e.Merge,
    e.Confirm, e.TakeBack, e.Amend,
)  # fmt: skip
CARRIED = (e.Move, e.Split, e.Merge)
PRUNED_AFTER = 60 * DAY
"""Entries older than that and than every running batch are corrected no more."""


@dataclass(frozen=True, slots=True)
class Stay:
    """A batch in a place from `start` to `end`, None while nobody ended it.

    `before` is the stay from which it came here, `to` the place to which it went.
    """

    place: str
    batch: Batch
    start: float
    end: float | None = None
    before: Stay | None = None
    to: str | None = None

    def ended(self, now: float) -> float | None:
        """When it ended, by the crew or by the clock of its course."""
        by_clock = self.batch.plan.spans[-1].end
        if self.end is not None:
            return min(self.end, max(by_clock, self.start))
        return by_clock if by_clock <= now else None


class BatchHistory:
    """The stays of a house, by place, oldest first. Belongs to whoever locks it."""

    def __init__(self, house: House) -> None:
        self.house = house
        self._clear()

    def _clear(self) -> None:
        self._state = HouseState(self.house, 0.0)
        self._view = HouseView(self._state)
        self._pending = PendingEntries()
        self._seq, self._pruned = 0, 0.0
        self.stays: dict[str, list[Stay]] = {}

    def catch_up(self, history: History) -> None:
        """Take what has been written since; all anew where the journal was set aside, or the wall
        clock has stepped."""
        clock = pieces_of(history.clock_steps())
        if history.last_entry() < self._seq or clock != self.house.clock:
            self.house = msgspec.structs.replace(self.house, clock=clock)
            self._clear()
        for seq, logged in history.entries_after(self._seq):
            self._seq = seq
            if isinstance(logged.entry, TAKEN) and logged.subject in self.house.place:
                self._keep_course(history, logged)
                self._take(logged)

    def _keep_course(self, history: History, logged: Logged) -> None:
        """The batch's own course: that of its beginning, though its file may have changed."""
        entry = logged.entry
        if not isinstance(entry, e.BatchStart):
            return
        for kept in history.courses(entry.batch):
            if kept.place == logged.subject and kept.at >= logged.received - 1.0:
                course = msgspec.json.decode(kept.course_json, type=Course)
                self._state.entry_log.courses[logged.key] = course
                return

    def _take(self, logged: Logged) -> None:
        now, entry_log = max(logged.at, logged.received), self._state.entry_log
        entry_log.version += 1
        ready = self._pending.weigh(logged, self._view, now)
        if ready is None:
            return
        before = {place: self._batch(place) for place in self.house.place}
        try:
            entry_log.add(ready)
        except Refused:
            return
        for place, was in before.items():
            self._note(place, was, ready)
        if now // DAY != self._pruned:
            self._pruned = now // DAY
            entry_log.prune(now - PRUNED_AFTER)

    def _batch(self, place: str) -> Batch | None:
        subject_state = self._view.entry_log.subject_states.get(place)
        return None if subject_state is None else subject_state.batch

    def _note(self, place: str, was: Batch | None, logged: Logged) -> None:
        """Begin, go on with, end or correct the latest stay in a place after an entry."""
        batch, stays = self._batch(place), self.stays.setdefault(place, [])
        last = stays[-1] if stays else None
        if batch is None:
            if was is not None and last is not None and last.end is None:
                self._close(place, stays, last, logged)
            return
        if last is not None and _same(last.batch, batch):
            stays[-1] = replace(last, batch=batch, end=None, to=None)
        elif batch is not was:
            if last is not None and last.end is None:
                self._close(place, stays, last, logged)
            stays.append(self._begun(place, batch, logged))

    def _close(self, place: str, stays: list[Stay], last: Stay, logged: Logged) -> None:
        """The crew ended it or carried it away; else it was never so."""
        subject_state = self._view.entry_log.of(place)
        by_clock = last.batch.plan.spans[-1].end
        if subject_state.ended is not None and subject_state.ended[1] >= last.start:
            stays[-1] = replace(last, end=subject_state.ended[1], to=_to(logged, place))
        elif by_clock <= logged.at:
            stays[-1] = replace(last, end=by_clock)
        else:
            stays.pop()

    def _begun(self, place: str, batch: Batch, logged: Logged) -> Stay:
        if not isinstance(logged.entry, CARRIED):
            return Stay(place, batch, batch.since)
        source = self.stays.get(logged.subject, [])
        return Stay(place, batch, logged.at, before=source[-1] if source else None)


def _same(one: Batch, other: Batch) -> bool:
    return one.name == other.name and one.since == other.since


def _to(logged: Logged, place: str) -> str | None:
    if logged.subject != place:
        return None
    match logged.entry:
        case e.Move(to=to) | e.Merge(into=to):
            return to
        case e.Split(to=goals):
            return goals[0]
        case _:
            return None
