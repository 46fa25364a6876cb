"""What each entry does to the books of a house.

An entry that does not fit what runs at its time is refused, with what would be right, and leaves
the books as they were. What a person does masks only what it disturbs. Times of masks are common
practice.
"""

from __future__ import annotations

from collections.abc import Sequence

from kuraban.core import entries as e
from kuraban.core.facts import Logged
from kuraban.core.plan.subject_state import Batch, LetRun, Refused, SubjectState, SubjectStates
from kuraban.core.planned_curve import FAR_FUTURE, Course, Mark, Redraw
from kuraban.core.site import Swap
from kuraban.core.units import HOUR, MINUTE, show_time

STIR, STIR_AFTER = 30 * MINUTE, 20 * MINUTE
RICE, OTHER_ADDITION = 90 * MINUTE, 30 * MINUTE
WATER_KOJI_LONGEST = 3 * HOUR
CASK_AFTER, CASK_LONGEST = 1 * HOUR, 6 * HOUR
HANDWORK, HANDWORK_AFTER = 30 * MINUTE, 15 * MINUTE

WORK = (e.Stir, e.Addition, e.CaskIn, e.CaskOut, e.Handwork, e.StageMark, e.ProbeOut, e.ProbeIn)
"""Entries that say that somebody was at the product."""


def apply(subject_states: SubjectStates, logged: Logged) -> None:
    """Take an entry into the book of its subject; Refused if it does not fit what runs."""
    subject_state, entry, at = subject_states.subject_state(logged.subject), logged.entry, logged.at
    match entry:
        case e.BatchStart():
            _start(subject_states, subject_state, logged, entry)
        case e.StageMark():
            _stage(subject_states, subject_state, logged, entry)
        case e.Hold():
            _hold(subject_states, _running(subject_state, logged), at, entry.for_)
        case e.Aim():
            _redraw(
                subject_states,
                _running(subject_state, logged),
                at,
                ((entry.by, entry.celsius),),
                entry.then,
            )
        case e.Plan():
            _redraw(subject_states, _running(subject_state, logged), at, entry.points, "shift")
        case e.LetRun():
            _let_run(subject_state, logged, entry)
        case e.Press(rest=True):
            _running(subject_state, logged)
        case e.BatchEnd() | e.Press():
            subject_state.ended = (_running(subject_state, logged).name, at)
            subject_state.batch = subject_state.let_run = None
        case e.Move() | e.Split() | e.Merge():
            _carry(subject_states, _running(subject_state, logged), subject_state, logged)
        case e.DutySwap():
            swap = Swap(first=entry.from_, second=entry.to, day=entry.day, role=entry.role)
            subject_states.swaps.append(swap)
        case e.ServedBy():
            if entry.cooler not in subject_states.house.cooler:
                raise Refused(f"no cooler '{entry.cooler}' in the site file")
            subject_state.served_by = entry.cooler
        case e.OutOfService():
            subject_state.out_of_service = at
            subject_states.out.add(logged.subject)
        case e.InService():
            subject_state.out_of_service = None
            subject_states.out.discard(logged.subject)
        case e.Check():
            subject_state.check = (at, entry.celsius)
        case e.ProbeOut() | e.ProbeIn():
            _probe(subject_states, logged)
        case _:
            _disturb(subject_state, entry, at)
    if isinstance(entry, WORK):
        _worked(subject_state, logged)


# Batches.


def _running(subject_state: SubjectState, logged: Logged) -> Batch:
    batch = subject_state.batch
    if batch is None or batch.plan.ended(logged.at):
        raise Refused(
            f"no batch runs in {logged.subject}; log its batch-start first, "
            f"then this {e.kind_of(logged.entry)}"
        )
    return batch


def _start(
    subject_states: SubjectStates, subject_state: SubjectState, logged: Logged, entry: e.BatchStart
) -> None:
    if subject_state.batch is not None and not subject_state.batch.plan.ended(logged.at):
        raise Refused(
            f"batch '{subject_state.batch.name}' runs in {logged.subject}; log its batch-end first"
        )
    house = subject_states.house
    kept = subject_states.courses.get(logged.key)
    same = kept is not None and kept.id == entry.course
    course = kept if same else house.course.get(entry.course)
    if course is None:
        known = ", ".join(sorted(house.course)) or "none"
        raise Refused(f"no course '{entry.course}'; known are {known}")
    since = logged.at if entry.since is None else float(entry.since)
    batch = Batch(entry.batch, course, entry, min(since, logged.at))
    stage = 0 if entry.stage is None else _stage_index(course, entry.stage)
    batch.marks = [Mark(stage, since)]
    batch.lay(house)
    subject_state.batch, subject_state.let_run, subject_state.check = batch, None, None
    subject_states.courses[logged.key] = course


def _stage(
    subject_states: SubjectStates, subject_state: SubjectState, logged: Logged, entry: e.StageMark
) -> None:
    batch = _running(subject_state, logged)
    since = logged.at if entry.since is None else float(entry.since)
    stage = _stage_index(batch.course, entry.stage)
    for mark in batch.marks:
        if mark.stage == stage:
            began = show_time(mark.since, subject_states.house.zone)
            raise Refused(f"stage '{entry.stage}' began at {began} already; amend that entry")
    batch.marks = sorted([*batch.marks, Mark(stage, since)], key=lambda mark: mark.since)
    subject_state.cut("water-koji", logged.at)
    subject_state.let_run = None
    batch.lay(subject_states.house)


def _stage_index(course: Course, stage: str) -> int:
    found = course.index(stage)
    if found is None:
        known = ", ".join(shape.id for shape in course.stages)
        raise Refused(f"course '{course.id}' has no stage '{stage}'; its stages are {known}")
    return found


def _hold(subject_states: SubjectStates, batch: Batch, at: float, extension: float) -> None:
    span = batch.plan.standing(at).span
    held = Mark(span.stage, span.start, extension, span.logged)
    others = [mark for mark in batch.marks if mark.stage != span.stage]
    batch.marks = sorted([*others, held], key=lambda mark: mark.since)
    batch.lay(subject_states.house)


def _redraw(
    subject_states: SubjectStates,
    batch: Batch,
    at: float,
    points: Sequence[tuple[e.Moment, float]],
    then: str,
) -> None:
    ahead = tuple(sorted((float(t), v) for t, v in points if t > at))
    if not ahead:
        raise Refused("the plan can be re-drawn only for times still ahead; give a later time")
    batch.redraws.append(Redraw(at, ahead, then))
    batch.lay(subject_states.house)


def _let_run(subject_state: SubjectState, logged: Logged, entry: e.LetRun) -> None:
    batch = _running(subject_state, logged)
    base = batch.plan.at(logged.at) if logged.seen is None else logged.seen
    subject_state.let_run = LetRun(logged.at, logged.at + entry.for_, base, entry.more)


def _carry(
    subject_states: SubjectStates, batch: Batch, subject_state: SubjectState, logged: Logged
) -> None:
    """Mash or koji goes elsewhere, with its day count, marks and plan."""
    goals = e.goals_of(logged.entry)
    for goal in goals:
        place = subject_states.house.place.get(goal)
        if place is None or not place.brews:
            brewing = ", ".join(place.id for place in subject_states.house.places if place.brews)
            raise Refused(f"'{goal}' is no place for a batch; known are {brewing}")
        there = _there(subject_states, goal, logged)
        if there is not None and not isinstance(logged.entry, e.Merge):
            raise Refused(f"batch '{there.name}' runs in {goal} already; merge into it instead")
    for goal in goals:
        if _there(subject_states, goal, logged) is None:
            subject_states.subject_state(goal).batch = batch.copy()
    if logged.subject not in goals:
        subject_state.ended, subject_state.batch, subject_state.let_run = (
            (batch.name, logged.at),
            None,
            None,
        )


def _there(subject_states: SubjectStates, goal: str, logged: Logged) -> Batch | None:
    """Another batch that runs where this one is to go."""
    batch = subject_states.subject_state(goal).batch
    if goal == logged.subject or batch is None or batch.plan.ended(logged.at):
        return None
    return batch


# Work at the product.


def _worked(subject_state: SubjectState, logged: Logged) -> None:
    entry = logged.entry
    if isinstance(entry, e.Stir):
        subject_state.last_stir = logged.at
    else:
        what = entry.what if isinstance(entry, e.Addition) else e.kind_of(entry)
        subject_state.last_work = (what, logged.at)
    if logged.by is not None:
        subject_state.hands = [*subject_state.hands[-7:], (logged.at, logged.by)]


def _probe(subject_states: SubjectStates, logged: Logged) -> None:
    subject, house = logged.subject, subject_states.house
    if subject in house.place:
        subjects = [probe.id for probe in house.probes_of(subject, "product")]
    else:
        subjects = [subject]
        if subject in house.probe:
            _worked(subject_states.subject_state(house.probe[subject].of), logged)
    out = logged.at if isinstance(logged.entry, e.ProbeOut) else None
    for probe in subjects:
        subject_states.subject_state(probe).probe_out = out


def _disturb(subject_state: SubjectState, entry: e.Entry, at: float) -> None:
    match entry:
        case e.Stir(for_=length):
            subject_state.mask("stir", at, at + (STIR if length is None else length + STIR_AFTER))
        case e.Addition(what="water-koji"):
            subject_state.mask("water-koji", at, at + WATER_KOJI_LONGEST)
        case e.Addition(what="rice"):
            subject_state.cut("water-koji", at)
            subject_state.mask("rice", at, at + RICE)
            if subject_state.batch is not None:
                subject_state.batch.rice_in = at
        case e.Addition():
            subject_state.mask("addition", at, at + OTHER_ADDITION)
        case e.CaskIn(for_=length):
            end = CASK_LONGEST if length is None else length + CASK_AFTER
            subject_state.mask("cask", at, at + min(end, CASK_LONGEST))
        case e.CaskOut():
            since = [
                m.start for m in subject_state.masks if m.why == "cask" and m.start <= at < m.end
            ]
            subject_state.cut("cask", at)
            longest = since[0] + CASK_LONGEST if since else FAR_FUTURE
            subject_state.mask("cask-out", at, min(at + CASK_AFTER, longest))
        case e.Handwork(for_=length):
            spell = HANDWORK if length is None else length
            subject_state.mask("handwork", at, at + spell + HANDWORK_AFTER)
        case _:
            pass
