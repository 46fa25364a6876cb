"""What a careful colleague would ask back about an entry before it is told to the watch.

Common practice, all of it: a mash does not move three degrees of Baumé in a day, nor does a brewer
aim three degrees away from the plan of the moment.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import NamedTuple

import msgspec

from kuraban.core import entries as e
from kuraban.core.facts import EntryOutcome, Logged
from kuraban.core.fates.entry_authority import Touch
from kuraban.core.fates.entry_hazards import allowed, let_run_to, touch_of
from kuraban.core.plan.fill_level import litres_in
from kuraban.core.plan.subject_state import Batch
from kuraban.core.texts.translator import Words, figure
from kuraban.core.units import DAY, HOUR, show_duration
from kuraban.errors import JournalError
from kuraban.queries.entries.sample_plausibility import of_addition, of_sample
from kuraban.queries.journal_state import JournalState, looking
from kuraban.store.connection import is_there

AIM_APART = CHECK_APART = 3.0
LONG_AGO = 2 * DAY
SAMPLES_BACK = 5 * DAY


FRESH = 180.0
"""What the watch wrote within so many seconds is how things stand."""


class Doubts(NamedTuple):
    """Questions about an entry, a sentence each, and why the watch would not take it at all."""

    questions: tuple[str, ...] = ()
    refused: str | None = None
    waits: bool = False
    """It counts once somebody else has confirmed it."""


def doubts(path: Path, words: Words, logged: Logged, asked: float) -> Doubts:
    """What there is to ask about an entry; nothing where no journal can be read."""
    try:
        if not is_there(path):
            return Doubts()
        with looking(path, words, asked) as state:
            if not state.engine.started:
                return Doubts()
            questions = tuple(_questions(state, logged))
            outcome = _outcome(state, logged)
            refused = outcome.reason if outcome and outcome.fate == "refused" else None
            waits = outcome is not None and outcome.fate == "waiting"
    except JournalError:
        return Doubts()
    if refused is not None and not _fresh(state):
        return Doubts((*questions, f"As it stood {_ago(state)}, it would be refused: {refused}."))
    return Doubts(questions, refused, waits)


def _ago(state: JournalState) -> str:
    return f"{(state.asked - (state.last_turn or state.asked)) / HOUR:.1f} h ago"


def _questions(state: JournalState, logged: Logged) -> Iterator[str]:
    if logged.received - logged.at > LONG_AGO:
        yield f"That was {(logged.received - logged.at) / DAY:.0f} days ago."
    batch = state.engine.view.batch(logged.subject, logged.at) if _is_place(state, logged) else None
    question = _QUESTIONS.get(type(logged.entry))
    if question is not None:
        yield from question(state, logged, batch)


def _is_place(state: JournalState, logged: Logged) -> bool:
    return logged.subject in state.engine.view.places


def _outcome(state: JournalState, logged: Logged) -> EntryOutcome | None:
    """What the watch itself would make of it, asked of a copy that nobody listens to.

    Of a watch that stands still it is asked as of its last turn.
    """
    if not _fresh(state):
        now = state.engine.now
        logged = Logged(
            logged.id, logged.subject, logged.entry, min(logged.at, now), now, logged.by
        )
    state.engine.take(logged)
    state.engine.wake(max(logged.at, state.engine.now))
    told = [fact for fact in state.engine.drain().facts if isinstance(fact, EntryOutcome)]
    return next((outcome for outcome in told if outcome.key == logged.key), None)


def _fresh(state: JournalState) -> bool:
    return state.last_turn is not None and state.asked - state.last_turn <= FRESH


def _sample(state: JournalState, logged: Logged, batch: Batch | None) -> Iterator[str]:
    entry = logged.entry
    assert isinstance(entry, e.Sample)
    since = logged.at - SAMPLES_BACK
    earlier = [
        (known.at, known.entry)
        for known in state.history.counting(logged.subject, since, logged.at)
        if isinstance(known.entry, e.Sample) and known.at < logged.at
    ]
    yield from of_sample(entry, logged.at, earlier)


def _addition(state: JournalState, logged: Logged, batch: Batch | None) -> Iterator[str]:
    entry, view = logged.entry, state.engine.view
    assert isinstance(entry, e.Addition)
    if _is_place(state, logged):
        litres = litres_in(view.entry_log, logged.subject, logged.at)
        yield from of_addition(entry, litres, view.house.place[logged.subject].litres)


def _aim(state: JournalState, logged: Logged, batch: Batch | None) -> Iterator[str]:
    entry = logged.entry
    assert isinstance(entry, e.Aim)
    if batch is None:
        return
    planned = batch.plan.at(entry.by)
    if abs(entry.celsius - planned) > AIM_APART:
        yield (
            f"The plan at that time is {figure(planned)} °C, the aim {figure(entry.celsius)} °C, "
            f"{figure(entry.celsius - planned, 1, True)}."
        )


def _check(state: JournalState, logged: Logged, batch: Batch | None) -> Iterator[str]:
    entry = logged.entry
    assert isinstance(entry, e.Check)
    known = state.engine.view.product(logged.subject, state.engine.now)
    if known is not None and abs(entry.celsius - known[0]) > CHECK_APART:
        yield f"The probe reads {figure(known[0])} °C, the hand {figure(entry.celsius)} °C."


def _stage(state: JournalState, logged: Logged, batch: Batch | None) -> Iterator[str]:
    entry = logged.entry
    assert isinstance(entry, e.StageMark)
    if batch is None:
        return
    index, present = batch.course.index(entry.stage), batch.plan.standing(logged.at).span.stage
    following = batch.course.stages[present + 1 : present + 2]
    if index is not None and following and index != present + 1:
        yield f"{batch.course.id} goes on with {following[0].id}, not {entry.stage}."


def _end(state: JournalState, logged: Logged, batch: Batch | None) -> Iterator[str]:
    if batch is None or (isinstance(logged.entry, e.Press) and logged.entry.rest):
        return
    standing = batch.plan.standing(logged.at)
    left = batch.course.stages[standing.span.stage + 1 :]
    if left:
        yield f"Batch {batch.name} is in {standing.stage.id}; {left[-1].id} has not been logged."


def _out_of_service(state: JournalState, logged: Logged, batch: Batch | None) -> Iterator[str]:
    view, now = state.engine.view, state.engine.now
    subject = logged.subject
    if batch is not None:
        yield f"Batch {batch.name} runs there, and nobody would be told if it goes wrong."
    elif subject in view.house.cooler and view.cooler_judged(subject, now):
        served = [view.house.name_of(place) for place in view.served(subject)]
        yield f"It serves {', '.join(served)}, and nobody would be told if it stops."


def _let_run(state: JournalState, logged: Logged, batch: Batch | None) -> Iterator[str]:
    if batch is None:
        return
    known = state.engine.view.product(logged.subject, state.engine.now)
    seen = msgspec.structs.replace(logged, seen=None if known is None else known[0])
    lowest, highest = let_run_to(seen, batch)
    least, most = allowed(batch, logged.at)
    if lowest < least or highest > most:
        yield (
            f"It might go from {figure(lowest)} to {figure(highest)} °C and nobody would be rung; "
            f"the limits are {figure(least)} and {figure(most)} °C."
        )


def _shelve(state: JournalState, logged: Logged, batch: Batch | None) -> Iterator[str]:
    entry, view = logged.entry, state.engine.view
    assert isinstance(entry, e.Shelve)
    if batch is not None and touch_of(logged, view, state.engine.now) is Touch.LONG_SHELF:
        name, length = view.house.name_of(logged.subject), show_duration(entry.for_)
        yield f"Nobody would be rung for {length} if {name}, batch {batch.name}, goes wrong."


_Question = Callable[[JournalState, Logged, Batch | None], Iterator[str]]
_QUESTIONS: dict[type, _Question] = {
    e.Sample: _sample,
    e.Addition: _addition,
    e.Aim: _aim,
    e.Check: _check,
    e.StageMark: _stage,
    e.BatchEnd: _end,
    e.Press: _end,
    e.OutOfService: _out_of_service,
    e.LetRun: _let_run,
    e.Shelve: _shelve,
}
