"""What people did, in the order of its time, folded into the books.

An entry made in time is put on top; one that is back-dated, taken back or amended makes the fold
start anew, so that a late truth and a correction count exactly as if they had been logged at once.
Nothing is ever deleted: a correction is an entry that names another.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import msgspec

from kuraban.core import entries as e
from kuraban.core.facts import Logged
from kuraban.core.plan.entry_reducer import apply
from kuraban.core.plan.subject_state import Refused, SubjectStates
from kuraban.core.site import House
from kuraban.core.units import DAY, at_clock, show_duration, show_time

PLACES = (e.BatchStart, e.Move, e.Split, e.Merge)
"""Entries by which a batch comes to a place."""
CONTROL = (
    e.Acknowledge, e.Shelve, e.Unshelve, e.Verdict, e.Note, e.Sample, e.Look, e.Confirm,
)  # fmt: skip
"""Entries that change no book."""


class EntryLog(SubjectStates):
    """The books of a house with the entries behind them. `add` takes entries."""

    def __init__(self, house: House) -> None:
        super().__init__(house)
        self.log: list[Logged] = []
        """Every entry that is known, in the order of its time."""
        self.hidden: set[tuple[str, str]] = set()
        self.amended: dict[tuple[str, str], Logged] = {}
        self.corrects: dict[tuple[str, str], Logged] = {}
        """The entry that each correction names, by the correction's subject and id."""
        self.passed_over: set[tuple[str, str]] = set()
        """Entries that do not fit what the earlier ones left, since those were corrected."""
        self.newest = 0.0
        self._about: dict[str, list[Logged]] | None = None
        self.version = 0
        """Rises with every change of the books; what was derived from an older one is void."""

    def about(self, subject: str) -> Sequence[Logged]:
        """The entries about one subject as they count now, in the order of time."""
        if self._about is None:
            self._about = {}
            for logged in self.log:
                if logged.key not in self.hidden:
                    counts = self.amended.get(logged.key, logged)
                    self._about.setdefault(logged.subject, []).append(counts)
        return self._about.get(subject, ())

    def add(self, logged: Logged) -> None:
        """Take an entry into the books; Refused if it does not fit what runs at its time."""
        self._about = None
        if isinstance(logged.entry, CONTROL):
            self._known(logged)
            return
        self.version += 1
        if isinstance(logged.entry, (e.TakeBack, e.Amend)):
            self._correct(logged)
            return
        if logged.at >= self.newest:
            apply(self, logged)
            self.log.append(logged)
            self.newest = logged.at
            return
        self._insert(logged)

    def _known(self, logged: Logged) -> None:
        self.log.append(logged)
        self.log.sort(key=lambda known: known.at)

    def _insert(self, logged: Logged) -> None:
        """A back-dated entry: fold anew with it in its place, or leave everything as it was."""
        kept = list(self.log)
        self.log.append(logged)
        self.log.sort(key=lambda known: known.at)
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
        entry = logged.entry
        assert isinstance(entry, (e.TakeBack, e.Amend))
        old = self.find(entry.of, logged.subject)
        if old is None:
            raise Refused(f"no entry '{entry.of}' is known; name the id of the entry to correct")
        hidden, amended = set(self.hidden), dict(self.amended)
        self.corrects[logged.key] = old
        self.log.append(logged)
        try:
            if isinstance(entry, e.Amend):
                self._amend_anew(old)
            else:
                self._count(old, False)
            self._refold_whole(old)
        except Refused:
            self.hidden, self.amended = hidden, amended
            self.log.pop()
            self.refold()
            raise
        self.log.sort(key=lambda known: known.at)

    def _count(self, logged: Logged, counts: bool) -> None:
        """Let an entry count or not; what it corrects itself follows."""
        (self.hidden.discard if counts else self.hidden.add)(logged.key)
        old = self.corrects.get(logged.key)
        if old is not None and isinstance(logged.entry, e.TakeBack):
            self._count(old, not counts)
        elif old is not None:
            self._amend_anew(old)

    def _amend_anew(self, old: Logged) -> None:
        self.amended.pop(old.key, None)
        for logged in self.log:
            corrects = self.corrects.get(logged.key)
            entry, counts = logged.entry, logged.key not in self.hidden
            if isinstance(entry, e.Amend) and counts and corrects is old:
                self.amended[old.key] = _amend(self.amended.get(old.key, old), entry)

    def _refold_whole(self, changed: Logged) -> None:
        """Fold anew after a change of the past; Refused where a batch would vanish by it.

        Somebody must say first which is right: that batch, or what was entered now.
        """
        before = set(self.passed_over)
        self.refold(insist_on=changed.key)
        for logged in self.log:
            lost = logged.key in self.passed_over - before and isinstance(logged.entry, PLACES)
            if lost and logged.key != changed.key:
                kind, when = e.kind_of(logged.entry), show_time(logged.at, self.house.zone)
                raise Refused(
                    f"then the {kind} of {logged.subject} at {when} (entry '{logged.id}') would "
                    "no longer fit; correct that entry first, or give this one another time"
                )

    def refold(self, insist_on: tuple[str, str] | None = None) -> None:
        """Build every book anew. An entry that no longer fits is passed over, unless insisted."""
        self.subject_states, self.out, self.swaps, self.passed_over = {}, set(), [], set()
        self.version += 1
        self.keepers += 1
        for logged in self.log:
            if logged.key in self.hidden or isinstance(
                logged.entry, (*CONTROL, e.TakeBack, e.Amend)
            ):
                continue
            try:
                apply(self, self.amended.get(logged.key, logged))
            except Refused:
                self.passed_over.add(logged.key)
                if logged.key == insist_on:
                    raise
        self.newest = max((logged.at for logged in self.log), default=0.0)

    def prune(self, before: float) -> None:
        """Forget entries older than every running batch and than `before`.

        What has lasting effect (service, who cools what) stays, and a swap until its day is over.
        """
        starts = [
            subject_state.batch.since
            for subject_state in self.subject_states.values()
            if subject_state.batch is not None
        ]
        cutoff = min([before, *starts])
        self._about = None
        lasting = (e.OutOfService, e.InService, e.ServedBy)
        self.log = [
            logged
            for logged in self.log
            if logged.at >= cutoff
            or isinstance(logged.entry, lasting)
            or (isinstance(logged.entry, e.DutySwap) and self._ahead(logged.entry, cutoff))
        ]
        kept = {logged.key for logged in self.log}
        self.courses = {k: course for k, course in self.courses.items() if k in kept}

    def _ahead(self, swap: e.DutySwap, cutoff: float) -> bool:
        return at_clock(date.fromisoformat(swap.day), 2 * DAY, self.house.zone) > cutoff


def _spelled(value: object) -> object:
    """A duration or a time as the wire writes it."""
    assert isinstance(value, float)
    return show_duration(value) if isinstance(value, e.Duration) else float(value)


def _amend(old: Logged, change: e.Amend) -> Logged:
    fields = msgspec.to_builtins(old.entry, enc_hook=_spelled)
    try:
        entry = e.read_entry({**fields, **change.fields})
    except (msgspec.ValidationError, ValueError) as error:
        raise Refused(f"the amended {fields.get('entry')} would be wrong: {error}") from None
    return msgspec.structs.replace(old, entry=entry)
