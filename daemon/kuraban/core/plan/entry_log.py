"""What people did, in the order of its time, folded into the books, and what became of each entry.

An entry made in time is put on top; one that is back-dated, taken back or amended makes the fold
start anew, so that a late truth and a correction count exactly as if they had been logged at once.
Nothing is ever deleted: a correction is an entry that names another. How every entry stands is
worked out here and nowhere else; `changes` tells it on.
"""

from __future__ import annotations

from bisect import insort
from collections.abc import Iterator, Sequence
from datetime import date
from typing import NamedTuple

from kuraban.core import entries as e
from kuraban.core.facts import Fate, Logged
from kuraban.core.intake.entry_validation import check_entry
from kuraban.core.plan.entry_corrections import CORRECTIONS, Amended, Key, corrected, root
from kuraban.core.plan.entry_reducer import apply
from kuraban.core.plan.subject_state import Mask, Refused, SubjectStates
from kuraban.core.site import House
from kuraban.core.units import DAY, at_clock, show_time

PLACES = (e.BatchStart, e.Move, e.Split, e.Merge)
"""Entries by which a batch comes to a place."""
CONTROL = (
    e.Acknowledge, e.Shelve, e.Unshelve, e.Verdict, e.Best, e.Note, e.Sample, e.Look, e.Confirm,
)  # fmt: skip
"""Entries that change no book."""
DISTURBED_KEPT = 4
NO_BOOK = (*CONTROL, *CORRECTIONS)
LOOKED_AT = (e.BatchStart, e.Aim, e.Plan)
"""Entries of which the books themselves see whether they make sense where they are amended."""


class Stands(NamedTuple):
    """How an entry stands in the log, and by which other one."""

    fate: Fate
    cause: Logged | None = None
    reason: str = ""
    entry: e.Entry | None = None
    """What it says where it was amended."""


COUNTED = Stands("counted")


class EntryLog(SubjectStates):
    """The books of a house with the entries behind them. `add` takes entries."""

    def __init__(self, house: House) -> None:
        super().__init__(house)
        self.log: list[Logged] = []
        """Every entry that was taken and is remembered, as it was made, in the order of its time.
        Who asks what counts asks `counting`."""
        self.newest = 0.0
        self.version = 0
        """Rises with every change of the books; what was derived from an older one is void."""
        self.piped = 0
        """The version since which every place is served by the same coolers and heaters."""
        self._named: dict[Key, Logged] = {}
        """The entry that each correction names, as they were told."""
        self._confirmed: dict[Key, Logged] = {}
        """Entries that waited, and what confirmed each."""
        self._taken_back: dict[Key, Logged] = {}
        self._amended: dict[Key, Amended] = {}
        self._passed_over: dict[Key, str] = {}
        """Why entries do not fit what the earlier ones left, since those were corrected."""
        self._stood: dict[Key, Stands] = {}
        """How each entry stood when that was last told."""
        self._news: list[Logged] | None = []
        """Entries whose standing may be another than was told; None for all."""
        self._about: dict[str, list[Logged]] | None = None
        self._disturbed: dict[str, list[Mask]] = {}
        """What was seen to disturb a product though nobody logged it, the latest of each place."""

    # What counts.

    def counting(self) -> Iterator[Logged]:
        """Every entry as it counts now, in the order of time: amended ones amended."""
        for logged in self.log:
            if logged.key not in self._taken_back and logged.key not in self._passed_over:
                yield self._as_amended(logged)

    def _as_amended(self, logged: Logged) -> Logged:
        amended = self._amended.get(logged.key)
        return logged if amended is None else amended.entry

    def about(self, subject: str) -> Sequence[Logged]:
        """The entries about one subject as they count now, in the order of time."""
        if self._about is None:
            self._about = {}
            for logged in self.counting():
                self._about.setdefault(logged.subject, []).append(logged)
        return self._about.get(subject, ())

    def changes(self) -> list[tuple[Logged, Stands]]:
        """Entries that stand otherwise than when this was last asked, in the order of time."""
        found = []
        for logged in self.log if self._news is None else self._news:
            stands = self._stands(logged)
            if self._stood.get(logged.key) != stands:
                self._stood[logged.key] = stands
                found.append((logged, stands))
        self._news = []
        return found

    def _stands(self, logged: Logged) -> Stands:
        key = logged.key
        if key in self._taken_back:
            return Stands("taken-back", self._taken_back[key])
        if key in self._passed_over:
            return Stands("refused", reason=self._passed_over[key])
        if key in self._amended:
            entry, by = self._amended[key]
            return Stands("amended", by, entry=entry.entry)
        if key in self._confirmed:
            return Stands("confirmed", self._confirmed[key])
        return COUNTED

    # Taking entries.

    def add(self, logged: Logged, confirmed: Logged | None = None) -> None:
        """Take an entry into the books, one that waited with what confirmed it.

        Raises Refused, and leaves everything as it was, if it does not fit what runs at its time.
        """
        if isinstance(logged.entry, CORRECTIONS):
            self._correct(logged)
        elif isinstance(logged.entry, CONTROL):
            self._put_in(logged)
        elif logged.at >= self.newest:
            apply(self, logged)
            self.changed(piped=isinstance(logged.entry, e.ServedBy))
            self._put_in(logged)
            self.newest = logged.at
        else:
            self._insert(logged)
        if confirmed is not None:
            self._confirmed[logged.key] = confirmed
        if self._news is not None:
            self._news.append(logged)

    def changed(self, *, piped: bool) -> None:
        """The books are others than before, `piped` if who serves whom may be another too."""
        self.version += 1
        if piped:
            self.piped = self.version

    def _put_in(self, logged: Logged) -> None:
        insort(self.log, logged, key=_at)
        if self._about is not None:
            insort(self._about.setdefault(logged.subject, []), logged, key=_at)

    def _insert(self, logged: Logged) -> None:
        """A back-dated entry: fold anew with it in its place, or leave everything as it was."""
        kept = list(self.log)
        self._put_in(logged)
        try:
            self._refold_whole(logged)
        except Refused:
            self.log = kept
            self.refold()
            raise

    def find(self, entry_id: str, subject: str | None = None) -> Logged | None:
        """The latest entry of that id, one about `subject` before all others."""
        found = [logged for logged in self.log if logged.id == entry_id]
        near = [logged for logged in found if logged.subject == subject]
        chosen = near or found
        return chosen[-1] if chosen else None

    def _correct(self, logged: Logged) -> None:
        old = self._to_correct(logged)
        kept = list(self.log)
        self._named[logged.key] = old
        self._put_in(logged)
        try:
            self._refold_whole(root(old, self._named))
        except Refused:
            del self._named[logged.key]
            self.log = kept
            self.refold()
            raise

    def _to_correct(self, logged: Logged) -> Logged:
        """The entry that a correction names; Refused where there is none, or nothing to correct."""
        entry = logged.entry
        assert isinstance(entry, CORRECTIONS)
        old = self.find(entry.of, logged.subject)
        if old is None:
            raise Refused(f"no entry '{entry.of}' is known; name the id of the entry to correct")
        if isinstance(entry, e.Amend) and isinstance(old.entry, CORRECTIONS):
            raise Refused(
                f"entry '{old.id}' is a correction; take it back, then make the one that is right"
            )
        by = self._taken_back.get(old.key)
        if isinstance(entry, e.TakeBack) and by is not None:
            raise Refused(
                f"entry '{old.id}' is taken back already, by entry '{by.id}'; take that one back "
                "to let it count again"
            )
        return old

    def foresee(self, correction: Logged) -> tuple[Logged, Logged | None] | None:
        """The entry at which a correction aims in the end, and as what that would count after it,
        None for not at all. None where the correction would be refused."""
        try:
            old = self._to_correct(correction)
            named = {**self._named, correction.key: old}
            after = corrected(sorted([*self.log, correction], key=_at), named)
        except Refused:
            return None
        aim = root(old, named)
        if aim.key in after.taken_back:
            return aim, None
        return aim, after.amended[aim.key].entry if aim.key in after.amended else aim

    # Folding.

    def _refold_whole(self, changed: Logged) -> None:
        """Fold anew after a change of the past; Refused where a batch would vanish by it.

        Somebody must say first which is right: that batch, or what was entered now.
        """
        before = set(self._passed_over)
        self.refold(insist_on=changed.key)
        for logged in self.log:
            lost = logged.key in self._passed_over and logged.key not in before
            if lost and isinstance(logged.entry, PLACES) and logged.key != changed.key:
                kind, when = e.kind_of(logged.entry), show_time(logged.at, self.house.zone)
                raise Refused(
                    f"then the {kind} of {logged.subject} at {when} (entry '{logged.id}') would "
                    "no longer fit; correct that entry first, or give this one another time"
                )

    def refold(self, insist_on: Key | None = None) -> None:
        """Build every book anew. An entry that no longer fits is passed over, unless insisted."""
        self.subject_states, self.out, self.swaps, self._passed_over = {}, set(), [], {}
        self.changed(piped=True)
        self._news = self._about = None
        self._taken_back, self._amended = corrected(self.log, self._named)
        for logged in self.log:
            if logged.key in self._taken_back or isinstance(logged.entry, NO_BOOK):
                continue
            try:
                self._fit(logged)
            except Refused as refused:
                self._passed_over[logged.key] = str(refused)
                if logged.key == insist_on:
                    raise
        booked = (logged.at for logged in self.log if not isinstance(logged.entry, NO_BOOK))
        self.newest = max(booked, default=0.0)
        for place, masks in self._disturbed.items():
            for mask in masks:
                self.subject_state(place).mask(*mask)

    def disturb(self, place: str, mask: Mask) -> None:
        """Work that nobody logged was seen at a place: it masks the product as if logged."""
        self._disturbed.setdefault(place, []).append(mask)
        del self._disturbed[place][:-DISTURBED_KEPT]
        self.subject_state(place).mask(*mask)

    def _fit(self, logged: Logged) -> None:
        """Take an entry of the log into the book of its subject, as it was amended."""
        amended = self._amended.get(logged.key)
        if amended is not None and not isinstance(logged.entry, LOOKED_AT):
            try:
                check_entry(amended.entry.entry, logged.subject, self.house, logged.at)
            except ValueError as wrong:
                kind = e.kind_of(logged.entry)
                raise Refused(f"the amended {kind} would be wrong: {wrong}") from None
        apply(self, self._as_amended(logged))

    # Forgetting.

    def prune(self, before: float) -> None:
        """Forget entries older than every running batch and than `before`.

        What has lasting effect stays: what was out of service then, who cooled what, and a swap
        until its day is over. With an entry its corrections are forgotten.
        """
        running = [
            state.batch.since
            for state in self.subject_states.values()
            if state.batch is not None and not state.batch.plan.ended(before)
        ]
        cutoff = min([before, *running])
        kept = {logged.key for logged in self._lasting(cutoff)}
        kept |= {logged.key for logged in self.log if self._lies_after(logged, cutoff)}
        for key, old in self._named.items():
            if old.key in kept:
                kept.add(key)
        self._about = None
        self.log = [logged for logged in self.log if logged.key in kept]
        self.courses = {k: course for k, course in self.courses.items() if k in kept}
        for table in (self._named, self._confirmed, self._taken_back, self._amended,
                      self._passed_over, self._stood):  # fmt: skip
            for key in [key for key in table if key not in kept]:
                del table[key]

    def _lies_after(self, logged: Logged, cutoff: float) -> bool:
        if logged.key in self._named:
            return False
        swap = logged.entry
        if isinstance(swap, e.DutySwap):
            end = at_clock(date.fromisoformat(swap.day), 2 * DAY, self.house.zone)
            return max(end, logged.at) > cutoff
        return logged.at >= cutoff

    def _lasting(self, cutoff: float) -> Iterator[Logged]:
        """What was in force at a moment by an entry before it."""
        found: dict[tuple[str, bool], Logged] = {}
        for logged in self.counting():
            if logged.at < cutoff and isinstance(
                logged.entry, (e.OutOfService, e.InService, e.ServedBy)
            ):
                found[logged.subject, isinstance(logged.entry, e.ServedBy)] = logged
        return (logged for logged in found.values() if not isinstance(logged.entry, e.InService))


def _at(logged: Logged) -> float:
    return logged.at
