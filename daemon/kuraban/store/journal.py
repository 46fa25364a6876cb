"""The journal: what the watch came to know and what it told, each turn whole or not at all.

One journal has one writer, the watch loop, which opens, uses and closes it in one thread. The
courier works on it through `Outbox`, everybody who only reads through `History`.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import count
from mmap import mmap
from pathlib import Path

from kuraban.core.effects import Turn
from kuraban.core.facts import Fact
from kuraban.errors import Fault, JournalError
from kuraban.store import chain, rows
from kuraban.store.connection import MEMORY, connect, damaged, telling, transaction
from kuraban.store.schema import Foreign, migrate
from kuraban.store.upkeep.retention import Bounds, Retention
from kuraban.store.writer import Writer

Blob = bytes | mmap
FACTS = (
    "reading", "refusal", "entry", "outcome", "house", "delivery", "impaired", "clock_step",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Checkpoint:
    """The engine's own state after a turn, so that a start need not read everything again."""

    version: str
    """Whatever tells the engine that it can still read `blob`."""
    blob: Blob


class Journal:
    """The journal at `path`; `Journal.open` makes one, `close` ends it."""

    def __init__(self, path: Path, db: sqlite3.Connection) -> None:
        self.path = path
        self._db = db
        self._probes: dict[str, int] = {}
        self._retention = Retention(db)

    @classmethod
    def open(cls, path: Path) -> Journal:
        """Open or create the journal at `path` (`MEMORY` for one that is not kept).

        Raises JournalError where it cannot be read or written, is damaged, is another program's
        file or a newer kuraban's.
        """
        with telling(path, "open the journal"):
            if path != MEMORY:
                path.parent.mkdir(parents=True, exist_ok=True)
            db = connect(path, "rwc")
            try:
                migrate(db)
                _glance(db)
            except Foreign as foreign:
                db.close()
                raise JournalError(f"{path}: {foreign}") from foreign
            except BaseException:
                db.close()
                raise
        return cls(path, db)

    def close(self) -> None:
        self._db.close()

    def commit(
        self,
        turn: Turn,
        checkpoint: Checkpoint | None = None,
        courses: Sequence[tuple[str, str, str]] = (),
    ) -> None:
        """Write all of `turn` in one transaction, on the disk when this returns.

        `courses` are (batch, place, course as JSON) of the batches that began in it. A reading,
        an entry or a message that the journal has already is counted and not written again.
        JournalError, and nothing written, where the journal cannot be written.
        """
        with telling(self.path, "write a turn"):
            try:
                with transaction(self._db):
                    self._write(turn, checkpoint, courses)
            except BaseException:
                self._probes.clear()
                raise

    def _write(
        self, turn: Turn, checkpoint: Checkpoint | None, courses: Sequence[tuple[str, str, str]]
    ) -> None:
        writer = Writer(self._db, self._probes)
        writer.turn(turn)
        writer.courses(courses, turn.now)
        if checkpoint is not None:
            writer.checkpoint(checkpoint.version, checkpoint.blob)

    def summarise(self, bounds: Bounds) -> int:
        """A small step of `store.upkeep.retention`; 0 where nothing is left to do. JournalError."""
        with telling(self.path, "summarise old readings"):
            return self._retention.step(bounds)

    def now(self) -> float | None:
        """The `now` of the last turn written, None before the first."""
        with telling(self.path, "read the journal"):
            now: float | None = self._db.execute("SELECT now FROM state").fetchone()[0]
        return now

    def drop_checkpoint(self) -> None:
        """The next start builds the watch anew from the facts."""
        with telling(self.path, "drop the checkpoint"):
            self._db.execute("DELETE FROM checkpoint")

    def load_checkpoint(self) -> tuple[int, str, bytes] | None:
        """The last checkpoint: the number of the last fact in it, its version and its bytes."""
        with telling(self.path, "read the checkpoint"):
            found = self._db.execute("SELECT seq, version FROM checkpoint").fetchone()
            if found is None:
                return None
            with self._db.blobopen("checkpoint", "blob", 1, readonly=True) as blob:
                return int(found[0]), str(found[1]), blob.read()

    def facts_after(self, seq: int = 0, until: float | None = None) -> Iterator[Fact]:
        """Every fact numbered beyond `seq`, in order, none that was received after `until`."""
        with telling(self.path, "read the facts"):
            for _, fact in rows.facts_after(self._db, seq, until):
                yield fact

    def verify(self) -> list[Fault]:
        """Every fault in the file and in the hash chain, the first row that does not fit first."""
        with telling(self.path, "verify the journal"):
            return [*self._met(self._pages()), *self._met(chain.walk(self._db, self.path))]

    def _pages(self) -> Iterator[Fault]:
        for (line,) in self._db.execute("PRAGMA quick_check(20)"):
            if line != "ok":
                yield self._fault(line)

    def _met(self, faults: Iterator[Fault]) -> Iterator[Fault]:
        """The faults, and as the last one that the file could not be read any further."""
        try:
            yield from faults
        except sqlite3.DatabaseError as error:
            yield self._fault(str(error))

    def _fault(self, wrong: str) -> Fault:
        return Fault(str(self.path), "data base", wrong, chain.RIGHT)


def open_or_set_aside(path: Path) -> tuple[Journal, Path | None]:
    """The journal at `path`, or a new one and where the damaged one now lies.

    JournalError where that helps nothing: no space, no right to write, another program's file.
    """
    try:
        return Journal.open(path), None
    except JournalError as error:
        if not damaged(error):
            raise
    aside = set_aside(path)
    return Journal.open(path), aside


def set_aside(path: Path) -> Path:
    """Rename a closed journal and what lies beside it; the first free `<name>.damaged-<n>`."""
    names = (path.with_name(f"{path.name}.damaged-{n}") for n in count(1))
    aside = next(name for name in names if not name.exists())
    with telling(path, "set the damaged journal aside"):
        path.rename(aside)
        for tail in ("-wal", "-shm"):
            beside = path.with_name(path.name + tail)
            if beside.exists():
                beside.rename(aside.with_name(aside.name + tail))
    return aside


def _glance(db: sqlite3.Connection) -> None:
    """Touch the newest row of every table of facts; damage deeper down is for `verify`."""
    if db.execute("SELECT 1 FROM state").fetchone() is None:
        raise sqlite3.DatabaseError("its state row is missing")
    for table in (*FACTS, "summary", "step", "message", "outbox"):
        db.execute(f"SELECT * FROM {table} ORDER BY 1 DESC LIMIT 1").fetchone()
