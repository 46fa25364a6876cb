"""The watch as its journal leaves it.

What the watch knows is found again as it would find it itself after a restart: from its last
checkpoint and the facts since. The clock is run on to the last turn that the watch wrote, and not
to now: a watch that stands still is not made to look as if it went on.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import NamedTuple

import msgspec

from kuraban.clock import wall_clock
from kuraban.core.engine.engine import Engine
from kuraban.core.site import House
from kuraban.core.texts.translator import Words
from kuraban.core.timescale import pieces_of
from kuraban.errors import JournalError
from kuraban.runtime import recover
from kuraban.store.archive import WholeHistory
from kuraban.store.connection import connect, is_there, telling
from kuraban.store.history import History
from kuraban.store.journal import Journal

clock = wall_clock


class JournalState(NamedTuple):
    """`last_turn` is when the watch last wrote, None before its first turn; times, that of the
    question too, are the watch's own."""

    history: History
    engine: Engine
    last_turn: float | None
    asked: float


def open_history(path: Path) -> History:
    """A reader of the journal and of the past beside it; JournalError that says what to do where
    there is none yet."""
    if not is_there(path):
        raise JournalError(
            f"{path}: there is no journal; start the watch with `kuraban run`, or name the site "
            "file of the one that runs"
        )
    return WholeHistory(path)


def clocked(house: House, path: Path) -> House:
    """The house by the wall clock as the journal at `path` knows it; as it is where there is
    none that can be read."""
    try:
        history = open_history(path)
    except JournalError:
        return house
    try:
        return msgspec.structs.replace(house, clock=pieces_of(history.clock_steps()))
    except JournalError:
        return house
    finally:
        history.close()


@contextmanager
def looking(path: Path, words: Words, asked: float) -> Iterator[JournalState]:
    """The watch behind the journal at `path`. JournalError where it cannot be read."""
    history = open_history(path)
    try:
        yield JournalState(history, _engine(path, words), history.now(), asked)
    finally:
        history.close()


def _engine(path: Path, words: Words) -> Engine:
    with telling(path, "read the journal"):
        journal = Journal(path, connect(path, "ro"))
    try:
        return recover(journal, words)
    finally:
        journal.close()
