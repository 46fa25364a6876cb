"""What a journal's checkpoint holds, for whoever looks through it: nothing of it is run."""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

from kuraban.core.alarms.life_cycle import State
from kuraban.core.texts.messages import Words
from kuraban.runtime.checkpoint import document
from kuraban.runtime.checkpoint.graph_reader import build, decode
from kuraban.store.connection import connect, telling
from kuraban.store.journal import Blob, Journal


class Unreadable(NamedTuple):
    """The next start passes it over and builds the watch anew from the journal's facts."""

    why: str
    ours: bool
    """It says that this version wrote it: it is damaged, or somebody altered it."""


class Contents(NamedTuple):
    """What stands, as of the moment `at`."""

    at: float
    listed: int
    """Alarms on the list; in hand and shelved ones are among them."""
    in_hand: int
    shelved: int
    pending: int
    """Entries that wait for a second person."""
    deadlines: int
    entries: int
    """Entries that would be known again."""
    size: int
    """Bytes, what is remembered included."""
    fits: bool
    """This version takes up what is remembered too; another's it builds anew."""


def contents(path: Path) -> Contents | Unreadable | None:
    """Of the journal at `path`; None without a checkpoint. JournalError where it is no journal."""
    with telling(path, "read the checkpoint"):
        journal = Journal(path, connect(path, "ro"))
    try:
        found = journal.load_checkpoint()
    finally:
        journal.close()
    if found is None:
        return None
    _, written_by, blob = found
    ours = written_by == document.version()
    try:
        return _read(blob, ours)
    except Exception as error:
        return Unreadable(str(error), ours)


def _read(blob: Blob, fits: bool) -> Contents:
    found = document.read(blob)
    standing = document.standing_in(found)
    graph = decode(found.memory)
    if fits:
        build(graph, Words({}))
    states = [alarm.state for alarm in standing.alarms]
    return Contents(
        at=standing.now,
        listed=len(states) - states.count(State.NORMAL),
        in_hand=states.count(State.ACKNOWLEDGED),
        shelved=states.count(State.SHELVED),
        pending=len(standing.pending),
        deadlines=len(standing.deadlines),
        entries=len(standing.known) // 8,
        size=len(blob),
        fits=fits,
    )
