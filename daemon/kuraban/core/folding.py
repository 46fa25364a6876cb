"""What each entry does to the books of a house.

An entry that does not fit what runs at its time is refused, with what would be right, and leaves
the books as they were. What a person does masks only what it disturbs. Times of masks are common
practice.
"""

from __future__ import annotations

from collections.abc import Sequence

from kuraban.core import entries as e
from kuraban.core.books import Batch, Book, Books, LetRun, Refused
from kuraban.core.course import FAR_FUTURE, Course, Mark, Redraw
from kuraban.core.facts import Logged
from kuraban.core.site import Swap
from kuraban.core.units import HOUR, MINUTE, show_time

STIR, STIR_AFTER = 30 * MINUTE, 20 * MINUTE
RICE, OTHER_ADDITION = 90 * MINUTE, 30 * MINUTE
WATER_KOJI_LONGEST = 3 * HOUR
CASK_AFTER, CASK_LONGEST = 1 * HOUR, 6 * HOUR
HANDWORK, HANDWORK_AFTER = 30 * MINUTE, 15 * MINUTE

WORK = (e.Stir, e.Addition, e.CaskIn, e.CaskOut, e.Handwork, e.StageMark, e.ProbeOut, e.ProbeIn)
"""Entries that say that somebody was at the product."""


def apply(books: Books, logged: Logged) -> None:
    """Take an entry into the book of its subject; Refused if it does not fit what runs."""
    book, entry, at = books.book(logged.subject), logged.entry, logged.at
    match entry:
        case e.BatchStart():
            _start(books, book, logged, entry)
        case e.StageMark():
            _stage(books, book, logged, entry)
        case e.Hold():
            _hold(books, _running(book, logged), at, entry.for_)
        case e.Aim():
            _redraw(books, _running(book, logged), at, ((entry.by, entry.celsius),), entry.then)
        case e.Plan():
            _redraw(books, _running(book, logged), at, entry.points, "shift")
        case e.LetRun():
            _let_run(book, logged, entry)
        case e.BatchEnd():
            book.ended = (_running(book, logged).name, at)
            book.batch = book.let_run = None
        case e.Move() | e.Split() | e.Merge():
            _carry(books, _running(book, logged), book, logged)
        case e.DutySwap():
            swap = Swap(first=entry.from_, second=entry.to, day=entry.day, role=entry.role)
            books.swaps.append(swap)
        case e.ServedBy():
            if entry.cooler not in books.house.cooler:
                raise Refused(f"no cooler '{entry.cooler}' in the site file")
            book.served_by = entry.cooler
            books.keepers += 1
        case e.OutOfService():
            book.out_of_service = at
            books.out.add(logged.subject)
        case e.InService():
            book.out_of_service = None
            books.out.discard(logged.subject)
        case e.Check():
            book.check = (at, entry.celsius)
        case e.ProbeOut() | e.ProbeIn():
            _probe(books, logged)
        case _:
            _disturb(book, entry, at)
    if isinstance(entry, WORK):
        _worked(book, logged)


# Batches.


def _running(book: Book, logged: Logged) -> Batch:
    batch = book.batch
    if batch is None or batch.plan.ended(logged.at):
        raise Refused(
            f"no batch runs in {logged.subject}; log its batch-start first, "
            f"then this {e.kind_of(logged.entry)}"
        )
    return batch


def _start(books: Books, book: Book, logged: Logged, entry: e.BatchStart) -> None:
    if book.batch is not None and not book.batch.plan.ended(logged.at):
        raise Refused(
            f"batch '{book.batch.name}' runs in {logged.subject}; log its batch-end first"
        )
    house = books.house
    course = books.courses.get(logged.key) or house.course.get(entry.course)
    if course is None:
        known = ", ".join(sorted(house.course)) or "none"
        raise Refused(f"no course '{entry.course}'; known are {known}")
    since = logged.at if entry.since is None else float(entry.since)
    batch = Batch(entry.batch, course, entry, min(since, logged.at))
    stage = 0 if entry.stage is None else _stage_index(course, entry.stage)
    batch.marks = [Mark(stage, since)]
    batch.lay(house)
    book.batch, book.let_run, book.check = batch, None, None
    books.courses[logged.key] = course


def _stage(books: Books, book: Book, logged: Logged, entry: e.StageMark) -> None:
    batch = _running(book, logged)
    since = logged.at if entry.since is None else float(entry.since)
    stage = _stage_index(batch.course, entry.stage)
    for mark in batch.marks:
        if mark.stage == stage:
            began = show_time(mark.since, books.house.zone)
            raise Refused(f"stage '{entry.stage}' began at {began} already; amend that entry")
    batch.marks = sorted([*batch.marks, Mark(stage, since)], key=lambda mark: mark.since)
    book.cut("water-koji", logged.at)
    book.let_run = None
    batch.lay(books.house)


def _stage_index(course: Course, stage: str) -> int:
    found = course.index(stage)
    if found is None:
        known = ", ".join(shape.id for shape in course.stages)
        raise Refused(f"course '{course.id}' has no stage '{stage}'; its stages are {known}")
    return found


def _hold(books: Books, batch: Batch, at: float, extension: float) -> None:
    span = batch.plan.standing(at).span
    held = Mark(span.stage, span.start, extension, span.logged)
    others = [mark for mark in batch.marks if mark.stage != span.stage]
    batch.marks = sorted([*others, held], key=lambda mark: mark.since)
    batch.lay(books.house)


def _redraw(
    books: Books, batch: Batch, at: float, points: Sequence[tuple[e.Moment, float]], then: str
) -> None:
    ahead = tuple(sorted((float(t), v) for t, v in points if t > at))
    if not ahead:
        raise Refused("the plan can be re-drawn only for times still ahead; give a later time")
    batch.redraws.append(Redraw(at, ahead, then))
    batch.lay(books.house)


def _let_run(book: Book, logged: Logged, entry: e.LetRun) -> None:
    batch = _running(book, logged)
    base = batch.plan.at(logged.at) if logged.seen is None else logged.seen
    book.let_run = LetRun(logged.at, logged.at + entry.for_, base, entry.more)


def _carry(books: Books, batch: Batch, book: Book, logged: Logged) -> None:
    """Mash or koji goes elsewhere, with its day count, marks and plan."""
    goals = e.goals_of(logged.entry)
    for goal in goals:
        place = books.house.place.get(goal)
        if place is None or not place.brews:
            brewing = ", ".join(place.id for place in books.house.places if place.brews)
            raise Refused(f"'{goal}' is no place for a batch; known are {brewing}")
        there = _there(books, goal, logged)
        if there is not None and not isinstance(logged.entry, e.Merge):
            raise Refused(f"batch '{there.name}' runs in {goal} already; merge into it instead")
    for goal in goals:
        if _there(books, goal, logged) is None:
            books.book(goal).batch = batch.copy()
    if logged.subject not in goals:
        book.ended, book.batch, book.let_run = (batch.name, logged.at), None, None


def _there(books: Books, goal: str, logged: Logged) -> Batch | None:
    """Another batch that runs where this one is to go."""
    batch = books.book(goal).batch
    if goal == logged.subject or batch is None or batch.plan.ended(logged.at):
        return None
    return batch


# Work at the product.


def _worked(book: Book, logged: Logged) -> None:
    entry = logged.entry
    if isinstance(entry, e.Stir):
        book.last_stir = logged.at
    else:
        what = entry.what if isinstance(entry, e.Addition) else e.kind_of(entry)
        book.last_work = (what, logged.at)
    if logged.by is not None:
        book.hands = [*book.hands[-7:], (logged.at, logged.by)]


def _probe(books: Books, logged: Logged) -> None:
    subject, house = logged.subject, books.house
    if subject in house.place:
        subjects = [probe.id for probe in house.probes_of(subject, "product")]
    else:
        subjects = [subject]
        if subject in house.probe:
            _worked(books.book(house.probe[subject].of), logged)
    out = logged.at if isinstance(logged.entry, e.ProbeOut) else None
    for probe in subjects:
        books.book(probe).probe_out = out


def _disturb(book: Book, entry: e.Entry, at: float) -> None:
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
