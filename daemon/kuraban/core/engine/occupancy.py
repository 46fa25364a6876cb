"""Which batch stood in which place when, learnt row by row from the journal.

The answer about a moment rests on the entries taken before it was asked, and on nothing else: asked
again at the same row of the same journal it is the same, whatever the crew logs later. The books
are the watch's own (`core.ledger`, `core.pending`), so that an entry which waits for a second
person, was refused or taken back counts here as it counts there.
"""

from __future__ import annotations

from typing import NamedTuple

from kuraban.core import entries as e
from kuraban.core.course import FAR_FUTURE
from kuraban.core.engine.pending_entries import PendingEntries
from kuraban.core.facts import Logged
from kuraban.core.house_state import HouseState
from kuraban.core.house_view import HouseView
from kuraban.core.plan.subject_state import Batch, Refused, SubjectState
from kuraban.core.site import House
from kuraban.core.units import DAY

KEPT = 20
"""Stays remembered of each place; readings that come later than that many batches have none."""
PRUNED_AFTER = 7 * DAY
CARRIED = (e.Move, e.Split, e.Merge)


class Stay(NamedTuple):
    """`batch` stands in a place over [start, end); None is nobody."""

    batch: str | None
    start: float
    end: float


class Occupancy:
    """Give it a house first; entries before that are lost."""

    def __init__(self) -> None:
        self._state: HouseState | None = None
        self._pending = PendingEntries()
        self._occupancy: dict[str, list[Stay]] = {}
        self._pruned = 0.0

    @property
    def house(self) -> House | None:
        return None if self._state is None else self._state.house

    def settle_in(self, house: House) -> None:
        """A new house, or one that changed."""
        if self._state is None:
            self._state = HouseState(house, 0.0)
        else:
            self._state.settle_in(house)
            self._state.entry_log.refold()

    def take(self, logged: Logged) -> None:
        """An entry takes effect as the watch lets it."""
        if self._state is None:
            return
        now, entry_log = max(logged.at, logged.received), self._state.entry_log
        entry_log.version += 1
        ready = self._pending.weigh(logged, HouseView(self._state), now)
        if ready is None:
            return
        try:
            entry_log.add(ready)
        except Refused:
            return
        for place in self._state.places:
            self._note(place, entry_log.of(place), ready)
        if now // DAY != self._pruned:
            self._pruned = now // DAY
            entry_log.prune(now - PRUNED_AFTER)

    def _note(self, place: str, known: SubjectState, logged: Logged) -> None:
        """Begin, end or correct the latest stay in a place after an entry."""
        batch = known.batch
        occupancy = self._occupancy.setdefault(place, [])
        if occupancy and occupancy[-1].end > logged.at and not _same(occupancy[-1], batch):
            start = FAR_FUTURE if batch is None else batch.since
            ended = logged.at if known.ended is None else known.ended[1]
            occupancy[-1] = occupancy[-1]._replace(end=max(min(ended, start), occupancy[-1].start))
        if batch is None:
            return
        end = batch.plan.spans[-1].end
        if occupancy and _same(occupancy[-1], batch):
            occupancy[-1] = occupancy[-1]._replace(end=end)
            return
        start = logged.at if isinstance(logged.entry, CARRIED) else batch.since
        occupancy.append(Stay(batch.name, start, end))
        del occupancy[:-KEPT]

    def at(self, place: str, at: float) -> Stay:
        """Who stands in a place at a moment, and over what stretch the answer is the same."""
        end = FAR_FUTURE
        for stay in reversed(self._occupancy.get(place, ())):
            if at >= stay.end:
                return Stay(None, stay.end, end)
            if at >= stay.start:
                return stay._replace(end=min(stay.end, end))
            end = min(stay.start, end)
        return Stay(None, -FAR_FUTURE, end)


def _same(stay: Stay, batch: Batch | None) -> bool:
    return batch is not None and stay.batch == batch.name
