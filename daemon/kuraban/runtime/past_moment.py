"""The watch as it was at a moment of its journal: lived through again up to then, and asked.

What the engine decides rests on facts alone, and all of them are in the journal. Where the last
checkpoint is older than the moment, the watch is taken from there; else the facts of the fourteen
hours before it are lived through, or of as many more as show how what stood then began. What was
learned before those, a cooler's habit or a probe's, is learned anew from them.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterable
from contextlib import closing
from pathlib import Path

import msgspec

from kuraban.core.engine.engine import Engine
from kuraban.core.facts import Fact, HouseChanged, Logged
from kuraban.core.texts.messages import Words
from kuraban.runtime.checkpoint.document import engine_in, read, standing_in, version
from kuraban.runtime.entries.past_entries import PastEntries
from kuraban.runtime.recovery import (
    ENTRIES_BACK,
    FARTHEST_BACK,
    LEAD_IN,
    MOST_AGAIN,
    READINGS_BACK,
    feed,
    run_to,
    seq_at,
)
from kuraban.store.connection import connect, telling
from kuraban.store.history import History
from kuraban.store.journal import Journal
from kuraban.store.rows import received_of

BUNDLE = 200
"""Facts between two questions whether to go on."""
GoOn = Callable[[], None]
"""Asked now and then; it raises to stop."""

log = logging.getLogger("kuraban")


def as_it_was(path: Path, words: Words, at: float, go_on: GoOn) -> Engine:
    """An engine of its own at a moment not before the journal's first.

    JournalError where the journal cannot be read.
    """
    with telling(path, "read the journal"):
        journal = Journal(path, connect(path, "ro"))
    with closing(journal), closing(History(path)) as history:
        past = PastEntries(history, at - ENTRIES_BACK)
        kept = _kept(journal, words, at)
        if kept is None:
            return _anew(history, words, at, go_on)
        seq, engine = kept
        _live(engine, (fact for _, fact in history.facts_after(seq, at)), past, go_on)
        run_to(engine, at)
        return engine


def _kept(journal: Journal, words: Words, at: float) -> tuple[int, Engine] | None:
    """From the checkpoint, where it is of this code and not of later than the moment."""
    found = journal.load_checkpoint()
    if found is None or found[1] != version():
        return None
    try:
        document = read(found[2])
        return (found[0], engine_in(document, words)) if standing_in(document).now <= at else None
    except Exception as error:
        log.warning("the kept state of the watch cannot be read (%s)", error)
        return None


def _anew(history: History, words: Words, at: float, go_on: GoOn) -> Engine:
    engine, start = Engine(words), begins(history, at)
    house = history.house(start)
    if house is None:
        return engine
    feed(engine, HouseChanged(start, house))
    for step in history.clock_steps():
        if step.received < start:
            feed(engine, msgspec.structs.replace(step, by=0.0))
    past = PastEntries(history, at - ENTRIES_BACK, start)
    past.restore(engine, start)
    numbered = history.facts_after(seq_at(history, start), at)
    _live(engine, (fact for _, fact in numbered), past, go_on)
    run_to(engine, at)
    return engine


def begins(history: History, at: float) -> float:
    """The moment from which facts are lived through to reach another anew."""
    raised = [step.at - LEAD_IN for step in history.standing(at)]
    wanted = max(min([at - READINGS_BACK, *raised]), at - FARTHEST_BACK)
    first = next(history.facts_after(max(seq_at(history, at) - MOST_AGAIN, 0)), None)
    earliest = at if first is None else min(received_of(first[1]), at - READINGS_BACK)
    return max(wanted, earliest, history.begun() or at)


def _live(engine: Engine, facts: Iterable[Fact], past: PastEntries, go_on: GoOn) -> None:
    for number, fact in enumerate(facts):
        if isinstance(fact, Logged) and engine.started:
            past.prepare(engine, fact)
        feed(engine, fact)
        if number % BUNDLE == 0:
            go_on()
            engine.drain()
