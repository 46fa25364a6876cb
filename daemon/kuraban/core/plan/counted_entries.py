"""The books as decided entries leave them, for whoever reads what became of each.

Entries are given with each change of their fate. One that now counts, and is later than all that
count, is put on top; anything else makes the fold start anew.
"""

from __future__ import annotations

from bisect import insort
from collections.abc import Callable
from contextlib import suppress
from itertools import count
from typing import NamedTuple

import msgspec

from kuraban.core.facts import EntryOutcome, Logged
from kuraban.core.plan.entry_corrections import Key
from kuraban.core.plan.entry_reducer import apply
from kuraban.core.plan.subject_state import Refused, SubjectStates
from kuraban.core.site import House


class ToldEntry(NamedTuple):
    """An entry as it was made, and what became of it; None while that is not decided."""

    logged: Logged
    outcome: EntryOutcome | None

    @property
    def counts(self) -> bool:
        return self.outcome is not None and self.outcome.counts

    @property
    def as_it_counts(self) -> Logged:
        """Amended where it was amended."""
        if self.outcome is None or self.outcome.entry is None:
            return self.logged
        return msgspec.structs.replace(self.logged, entry=self.outcome.entry)


class CountedEntries(SubjectStates):
    """The books of a house with the entries that count, as they count."""

    def __init__(self, house: House) -> None:
        super().__init__(house)
        self.log: list[Logged] = []
        """Those that count, in the order of time."""
        self.whole = True
        """The books hold all of the log; else they are to be built anew."""
        self._order: dict[Key, int] = {}
        """Which came to count first, for those of one moment."""
        self._serial = count()

    def take(self, told: ToldEntry) -> bool:
        """An entry, and what became of it now. Whether the books hold all of the log after it."""
        known = next((one for one in self.log if one.key == told.logged.key), None)
        if known is not None:
            self.log.remove(known)
            self.whole = False
        if told.counts:
            self._count(told.as_it_counts)
        return self.whole

    def _count(self, logged: Logged) -> None:
        on_top = not self.log or self._place(logged) > self._place(self.log[-1])
        insort(self.log, logged, key=self._place)
        if self.whole and on_top:
            self._apply(logged)
        else:
            self.whole = False

    def _place(self, logged: Logged) -> tuple[float, int]:
        if logged.key not in self._order:
            self._order[logged.key] = next(self._serial)
        return logged.at, self._order[logged.key]

    def _apply(self, logged: Logged) -> None:
        """What a house that changed no longer knows is left out."""
        with suppress(Refused):
            apply(self, logged)

    def refold(self, applied: Callable[[Logged], None] = lambda logged: None) -> None:
        """Build every book anew; `applied` hears each entry after it was taken into them."""
        self.subject_states, self.out, self.swaps = {}, set(), []
        for logged in self.log:
            self._apply(logged)
            applied(logged)
        self.whole = True

    def forget(self, before: float) -> float:
        """Forget entries older than every running batch and than `before`; from when they stay."""
        running = [
            state.batch.since
            for state in self.subject_states.values()
            if state.batch is not None and not state.batch.plan.ended(before)
        ]
        cutoff = min([before, *running])
        self.log = [logged for logged in self.log if logged.at >= cutoff]
        kept = {logged.key for logged in self.log}
        self.courses = {key: course for key, course in self.courses.items() if key in kept}
        self._order = {key: number for key, number in self._order.items() if key in kept}
        return cutoff
