"""The watch as its journal leaves it.

What the watch knows is found again as it would find it itself after a restart: from its last
checkpoint and the facts since. The clock is run on to the last turn that the watch wrote, and not
to now: a watch that stands still is not made to look as if it went on.
"""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import NamedTuple

from kuraban.core.engine.engine import Engine
from kuraban.core.texts.translator import Words
from kuraban.errors import JournalError
from kuraban.runtime import recover
from kuraban.store.connection import connect, telling
from kuraban.store.history import History
from kuraban.store.journal import Journal

clock = time.time


class JournalState(NamedTuple):
    """`last_turn` is when the watch last wrote, None before its first turn; times in seconds."""

    history: History
    engine: Engine
    last_turn: float | None
    asked: float


def open_history(path: Path) -> History:
    """A reader of the journal; JournalError that says what to do where there is none yet."""
    if not path.is_file():
        raise JournalError(
            f"{path}: there is no journal; start the watch with `kuraban run`, or name the site "
            "file of the one that runs"
        )
    return History(path)


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
