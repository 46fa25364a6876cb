"""Which batch stood in which place when, learnt row by row from the journal.

The answer about a moment rests on what became of entries before it was asked, and on nothing else:
asked again at the same row of the same journal it is the same, whatever the crew logs later.
"""

from __future__ import annotations

from typing import NamedTuple

from kuraban.core import entries as e
from kuraban.core.facts import Logged
from kuraban.core.plan.counted_entries import CountedEntries, ToldEntry
from kuraban.core.plan.subject_state import Batch, SubjectState
from kuraban.core.planned_curve import FAR_FUTURE
from kuraban.core.site import House
from kuraban.core.units import DAY

KEPT = 20
"""Stays remembered of each place; readings that come later than that many batches have none."""
FORGOTTEN_AFTER = 7 * DAY
CARRIED = (e.Move, e.Split, e.Merge)
TAKEN = (e.BatchStart, e.StageMark, e.Hold, e.Aim, e.Plan, e.BatchEnd, e.Press, *CARRIED)
"""Entries that move a batch or its plan."""


class Stay(NamedTuple):
    """`batch` stands in a place over [start, end); None is nobody."""

    batch: str | None
    start: float
    end: float


class Occupancy:
    """Give it a house first; entries before that are lost."""

    def __init__(self) -> None:
        self.house: House | None = None
        self._books: CountedEntries
        self._occupancy: dict[str, list[Stay]] = {}
        self._forgotten = 0.0

    def settle_in(self, house: House) -> None:
        """A new house, or one that changed."""
        if self.house is None:
            self._books = CountedEntries(house)
        self.house = self._books.house = house
        self._books.refold()

    def take(self, told: ToldEntry) -> None:
        """What became of an entry."""
        if self.house is None or told.outcome is None or not isinstance(told.logged.entry, TAKEN):
            return
        if not self._books.take(told):
            self._books.refold()
        decided = told.outcome.received
        for place in self.house.place:
            at = told.logged.at if told.counts else decided
            self._note(place, self._books.of(place), told.logged, at)
        if decided // DAY != self._forgotten:
            self._forgotten = decided // DAY
            self._books.forget(decided - FORGOTTEN_AFTER)

    def _note(self, place: str, known: SubjectState, logged: Logged, at: float) -> None:
        """Begin, end or correct the latest stay in a place after an entry counts, or no more."""
        batch = known.batch
        occupancy = self._occupancy.setdefault(place, [])
        if occupancy and occupancy[-1].end > at and not _same(occupancy[-1], batch):
            start = FAR_FUTURE if batch is None else batch.since
            ended = at if known.ended is None else known.ended[1]
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
