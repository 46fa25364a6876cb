"""What people did, folded into what runs where: batches, stage marks, plans, masks.

The books are a fold over the entries in the order of their time. An entry made in time is put on
top; one that is back-dated, taken back or amended makes the fold start anew, so that a late truth
and a correction count exactly as if they had been logged at once. Nothing is ever deleted: a
correction is an entry that names another.

What a person does masks only what it disturbs, and every mask ends by itself. Times of masks are
common practice.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import NamedTuple

import msgspec

from kuraban.core import entries as e
from kuraban.core.course import FAR_FUTURE, Course, Mark, Planned, Redraw, Standing
from kuraban.core.facts import Logged
from kuraban.core.site import House, Swap
from kuraban.core.units import DAY, HOUR, MINUTE, at_clock, show_duration, show_time

STIR, STIR_AFTER = 30 * MINUTE, 20 * MINUTE
RICE, OTHER_ADDITION = 90 * MINUTE, 30 * MINUTE
WATER_KOJI_LONGEST = 3 * HOUR
CASK_AFTER, CASK_LONGEST = 1 * HOUR, 6 * HOUR
HANDWORK, HANDWORK_AFTER = 30 * MINUTE, 15 * MINUTE
PROBE_OUT_LONGEST = 60 * MINUTE
MASKS_KEPT = 40

WORK = (e.Stir, e.Addition, e.CaskIn, e.CaskOut, e.Handwork, e.StageMark, e.ProbeOut, e.ProbeIn)
"""Entries that say that somebody was at the product."""
PLACES = (e.BatchStart, e.Move, e.Split, e.Merge)
"""Entries by which a batch comes to a place."""
CONTROL = (
    e.Acknowledge, e.Shelve, e.Unshelve, e.Verdict, e.Note, e.Sample, e.Look, e.Confirm,
)  # fmt: skip
"""Entries that change no book."""


class Mask(NamedTuple):
    """A stretch in which the product is disturbed by `why`; [start, end)."""

    why: str
    start: float
    end: float


class LetRun(NamedTuple):
    """Until `until` the product is judged against `base` ± `more`."""

    start: float
    until: float
    base: float
    more: float


class Batch:
    """One batch in one place. `plan` is the plan in force; it is laid anew at every change."""

    def __init__(self, name: str, course: Course, start: e.BatchStart, at: float) -> None:
        self.name = name
        self.course = course
        self.title = start.title
        self.rice_kg = start.rice_kg
        self.since = at
        self.marks: list[Mark] = []
        self.redraws: list[Redraw] = []
        self.rice_in: float | None = None
        """The latest rice of the present stage, from which it settles."""

    def lay(self, house: House) -> None:
        self.plan = Planned(
            self.course,
            tuple(self.marks),
            tuple(self.redraws),
            house.site.day_starts,
            house.zone,
        )

    def copy(self) -> Batch:
        twin = Batch.__new__(Batch)
        twin.__dict__.update(self.__dict__)
        twin.marks, twin.redraws = list(self.marks), list(self.redraws)
        return twin

    def settled_at(self, standing: Standing) -> float:
        """When the present stage begins to be judged after its mark or its last rice."""
        start = standing.span.start
        if self.rice_in is not None and self.rice_in >= start:
            start = self.rice_in
        return start + standing.stage.settle


class Book:
    """One place, cooler or probe as its entries leave it."""

    __slots__ = (
        "batch", "check", "ended", "hands", "last_stir", "last_work", "let_run", "masks",
        "out_of_service", "probe_out", "served_by",
    )  # fmt: skip

    def __init__(self) -> None:
        self.batch: Batch | None = None
        self.ended: tuple[str, float] | None = None
        """The batch that ran here last, and when it ended."""
        self.masks: list[Mask] = []
        self.let_run: LetRun | None = None
        self.last_stir: float | None = None
        self.last_work: tuple[str, float] | None = None
        """The latest other work: an entry's name or what went in, and when."""
        self.hands: list[tuple[float, str]] = []
        """Who worked here, and when; the latest few."""
        self.check: tuple[float, float] | None = None
        """Time and degrees of the last reading by hand thermometer."""
        self.out_of_service: float | None = None
        self.probe_out: float | None = None
        self.served_by: str | None = None

    def masked(self, at: float) -> float | None:
        """The end of the stretch of masks that covers `at`, None if nothing masks it."""
        end = None
        for mask in sorted(self.masks, key=lambda mask: mask.start):
            if mask.start <= (at if end is None else end) and mask.end > (end or at):
                end = mask.end
        return end

    def mask(self, why: str, start: float, end: float) -> None:
        self.masks.append(Mask(why, start, end))
        del self.masks[:-MASKS_KEPT]

    def cut(self, why: str, at: float) -> bool:
        """End the open masks of one kind at a moment; whether there was one."""
        found = False
        for number, mask in enumerate(self.masks):
            if mask.why == why and mask.start <= at < mask.end:
                self.masks[number] = mask._replace(end=at)
                found = True
        return found


class Refused(Exception):
    """An entry that does not fit what runs; the message says what would be right."""


class Ledger:
    """All books of a house. `add` takes entries, the rest answers."""

    def __init__(self, house: House) -> None:
        self.house = house
        self.books: dict[str, Book] = {}
        self.log: list[Logged] = []
        """Every entry that changes a book, in the order of its time."""
        self.hidden: set[tuple[str, str]] = set()
        self.amended: dict[tuple[str, str], Logged] = {}
        self.corrects: dict[tuple[str, str], Logged] = {}
        """The entry that each correction names, by the correction's subject and id."""
        self.passed_over: set[tuple[str, str]] = set()
        """Entries that do not fit what the earlier ones left, since those were corrected."""
        self.newest = 0.0
        self.swaps: list[Swap] = []
        """Duties exchanged, in the order in which they were entered."""
        self.courses: dict[tuple[str, str], Course] = {}
        """The course of each batch as it was when the batch began, by that entry."""
        self._about: dict[str, list[Logged]] | None = None
        self.version = 0
        """Rises with every change of the books; what was derived from an older one is void."""

    def book(self, subject: str) -> Book:
        found = self.books.get(subject)
        if found is None:
            found = self.books[subject] = Book()
        return found

    @property
    def manned(self) -> House:
        """The house with its rota as people have swapped it: for whoever asks who is on duty."""
        if not self.swaps:
            return self.house
        return msgspec.structs.replace(self.house, swaps=(*self.house.swaps, *self.swaps))

    def batch(self, place: str, at: float) -> Batch | None:
        """The batch that runs in a place at a moment not before its last entry."""
        book = self.books.get(place)
        if book is None or book.batch is None or book.batch.plan.ended(at):
            return None
        return book.batch

    def cooler_of(self, place: str) -> str | None:
        """The cooler or heater that serves a place now."""
        book = self.books.get(place)
        if book is not None and book.served_by is not None:
            return book.served_by
        entry = self.house.place[place]
        room = self.house.place.get(entry.room) if entry.room is not None else None
        behind = None if room is None else room.cooler or room.heater
        return entry.cooler or entry.heater or behind

    def served(self, cooler: str) -> list[str]:
        """The places that a cooler or heater serves now, rooms that it keeps included."""
        return [place.id for place in self.house.places if self.serves(cooler, place.id)]

    def serves(self, cooler: str, place: str) -> bool:
        """Whether a cooler or heater serves a place now, or the room in which it stands."""
        room = self.house.place[place].room
        return self._keeps(cooler, place) or (
            room is not None and room in self.house.place and self._keeps(cooler, room)
        )

    def _keeps(self, cooler: str, place: str) -> bool:
        book, entry = self.books.get(place), self.house.place[place]
        if book is not None and book.served_by is not None:
            takes_over = self.house.cooler[book.served_by].heats
            if cooler == book.served_by:
                return True
            return cooler == (entry.cooler if takes_over else entry.heater)
        return cooler in (entry.cooler, entry.heater)

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
            self._apply(logged)
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
        self.books, self.swaps, self.passed_over = {}, [], set()
        self.version += 1
        for logged in self.log:
            if logged.key in self.hidden or isinstance(
                logged.entry, (*CONTROL, e.TakeBack, e.Amend)
            ):
                continue
            try:
                self._apply(self.amended.get(logged.key, logged))
            except Refused:
                self.passed_over.add(logged.key)
                if logged.key == insist_on:
                    raise
        self.newest = max((logged.at for logged in self.log), default=0.0)

    def prune(self, before: float) -> None:
        """Forget entries older than every running batch and than `before`.

        What has lasting effect (service, who cools what) stays, and a swap until its day is over.
        """
        starts = [book.batch.since for book in self.books.values() if book.batch is not None]
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

    def _running(self, logged: Logged) -> Batch:
        batch = self.book(logged.subject).batch
        if batch is None or batch.plan.ended(logged.at):
            raise Refused(
                f"no batch runs in {logged.subject}; log its batch-start first, "
                f"then this {e.kind_of(logged.entry)}"
            )
        return batch

    def _apply(self, logged: Logged) -> None:
        book, entry, at = self.book(logged.subject), logged.entry, logged.at
        match entry:
            case e.BatchStart():
                self._start(book, logged, entry)
            case e.StageMark():
                self._stage(self._running(logged), book, logged, entry)
            case e.Hold():
                self._hold(self._running(logged), at, entry.for_)
            case e.Aim():
                self._redraw(self._running(logged), at, ((entry.by, entry.celsius),), entry.then)
            case e.Plan():
                points = tuple(sorted((float(t), v) for t, v in entry.points if t > at))
                self._redraw(self._running(logged), at, points, "shift")
            case e.LetRun():
                self._let_run(book, logged, entry)
            case e.BatchEnd():
                book.ended = (self._running(logged).name, at)
                book.batch = book.let_run = None
            case e.Move() | e.Split() | e.Merge():
                self._carry(self._running(logged), book, logged)
            case e.DutySwap():
                swap = Swap(first=entry.from_, second=entry.to, day=entry.day, role=entry.role)
                self.swaps.append(swap)
            case e.ServedBy():
                if entry.cooler not in self.house.cooler:
                    raise Refused(f"no cooler '{entry.cooler}' in the site file")
                book.served_by = entry.cooler
            case e.OutOfService():
                book.out_of_service = at
            case e.InService():
                book.out_of_service = None
            case e.Check():
                book.check = (at, entry.celsius)
            case e.ProbeOut() | e.ProbeIn():
                self._probe(logged)
            case _:
                self._mask(book, entry, at)
        if isinstance(entry, WORK):
            self._worked(book, logged)

    def _worked(self, book: Book, logged: Logged) -> None:
        if isinstance(logged.entry, e.Stir):
            book.last_stir = logged.at
        else:
            book.last_work = (_work_of(logged.entry), logged.at)
        if logged.by is not None:
            book.hands = [*book.hands[-7:], (logged.at, logged.by)]

    def _start(self, book: Book, logged: Logged, entry: e.BatchStart) -> None:
        if book.batch is not None and not book.batch.plan.ended(logged.at):
            raise Refused(
                f"batch '{book.batch.name}' runs in {logged.subject}; log its batch-end first"
            )
        course = self.courses.get(logged.key) or self.house.course.get(entry.course)
        if course is None:
            raise Refused(f"no course '{entry.course}'; known are {_names(self.house.course)}")
        since = logged.at if entry.since is None else float(entry.since)
        batch = Batch(entry.batch, course, entry, min(since, logged.at))
        stage = 0 if entry.stage is None else _stage_index(course, entry.stage)
        batch.marks = [Mark(stage, since)]
        batch.lay(self.house)
        book.batch, book.let_run, book.check = batch, None, None
        self.courses[logged.key] = course

    def _stage(self, batch: Batch, book: Book, logged: Logged, entry: e.StageMark) -> None:
        since = logged.at if entry.since is None else float(entry.since)
        stage = _stage_index(batch.course, entry.stage)
        for mark in batch.marks:
            if mark.stage == stage:
                began = show_time(mark.since, self.house.zone)
                raise Refused(f"stage '{entry.stage}' began at {began} already; amend that entry")
        batch.marks = sorted([*batch.marks, Mark(stage, since)], key=lambda mark: mark.since)
        book.cut("water-koji", logged.at)
        book.let_run = None
        batch.lay(self.house)

    def _hold(self, batch: Batch, at: float, extension: float) -> None:
        span = batch.plan.standing(at).span
        held = Mark(span.stage, span.start, extension, span.logged)
        others = [mark for mark in batch.marks if mark.stage != span.stage]
        batch.marks = sorted([*others, held], key=lambda mark: mark.since)
        batch.lay(self.house)

    def _redraw(
        self, batch: Batch, at: float, points: tuple[tuple[float, float], ...], then: str
    ) -> None:
        ahead = tuple((float(t), v) for t, v in points if t > at)
        if not ahead:
            raise Refused("the plan can be re-drawn only for times still ahead; give a later time")
        batch.redraws.append(Redraw(at, ahead, then))
        batch.lay(self.house)

    def _let_run(self, book: Book, logged: Logged, entry: e.LetRun) -> None:
        batch = self._running(logged)
        base = batch.plan.at(logged.at) if logged.seen is None else logged.seen
        book.let_run = LetRun(logged.at, logged.at + entry.for_, base, entry.more)

    def _carry(self, batch: Batch, book: Book, logged: Logged) -> None:
        """Mash or koji goes elsewhere, with its day count, marks and plan."""
        entry = logged.entry
        goals: tuple[str, ...]
        if isinstance(entry, e.Merge):
            goals = (entry.into,)
        else:
            assert isinstance(entry, (e.Move, e.Split))
            goals = (entry.to,) if isinstance(entry, e.Move) else entry.to
        for goal in goals:
            place = self.house.place.get(goal)
            if place is None or not place.brews:
                raise Refused(f"'{goal}' is no place for a batch; known are {self._brewing()}")
            taken = self.book(goal).batch
            runs = taken is not None and not taken.plan.ended(logged.at)
            if goal != logged.subject and runs and not isinstance(entry, e.Merge):
                raise Refused(
                    f"batch '{taken.name}' runs in {goal} already; merge into it instead"  # type: ignore[union-attr]
                )
        for goal in goals:
            taken = self.book(goal).batch
            if taken is None or taken.plan.ended(logged.at) or goal == logged.subject:
                self.book(goal).batch = batch.copy()
        if logged.subject not in goals:
            book.ended, book.batch, book.let_run = (batch.name, logged.at), None, None

    def _brewing(self) -> str:
        return ", ".join(place.id for place in self.house.places if place.brews)

    def _probe(self, logged: Logged) -> None:
        subject = logged.subject
        if subject in self.house.place:
            subjects = [probe.id for probe in self.house.probes_of(subject, "product")]
        else:
            subjects = [subject]
            place = self.house.probe[subject].of if subject in self.house.probe else None
            if place is not None:
                self._worked(self.book(place), logged)
        for probe in subjects:
            out = isinstance(logged.entry, e.ProbeOut)
            self.book(probe).probe_out = logged.at if out else None

    def _mask(self, book: Book, entry: e.Entry, at: float) -> None:
        match entry:
            case e.Stir(for_=length):
                book.mask("stir", at, at + (STIR if length is None else length + STIR_AFTER))
            case e.Addition(what="water-koji"):
                book.mask("water-koji", at, at + WATER_KOJI_LONGEST)
            case e.Addition(what="rice"):
                book.cut("water-koji", at)
                book.mask("rice", at, at + RICE)
                if book.batch is not None:
                    book.batch.rice_in = at
            case e.Addition():
                book.mask("addition", at, at + OTHER_ADDITION)
            case e.CaskIn(for_=length):
                end = CASK_LONGEST if length is None else length + CASK_AFTER
                book.mask("cask", at, at + min(end, CASK_LONGEST))
            case e.CaskOut():
                since = [m.start for m in book.masks if m.why == "cask" and m.start <= at < m.end]
                book.cut("cask", at)
                longest = since[0] + CASK_LONGEST if since else FAR_FUTURE
                book.mask("cask-out", at, min(at + CASK_AFTER, longest))
            case e.Handwork(for_=length):
                spell = HANDWORK if length is None else length
                book.mask("handwork", at, at + spell + HANDWORK_AFTER)
            case _:
                pass


def _work_of(entry: e.Entry) -> str:
    """What was done, by the name of what went in or else of the entry."""
    return entry.what if isinstance(entry, e.Addition) else e.kind_of(entry)


def _names(table: dict[str, Course]) -> str:
    return ", ".join(sorted(table)) or "none"


def _stage_index(course: Course, stage: str) -> int:
    found = course.index(stage)
    if found is None:
        known = ", ".join(shape.id for shape in course.stages)
        raise Refused(f"course '{course.id}' has no stage '{stage}'; its stages are {known}")
    return found


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
