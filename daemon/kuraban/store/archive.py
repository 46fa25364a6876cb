"""The past from before the watch: imported readings and entries, in a file of their own.

It lies beside the journal and is built like one, so that whoever reads the one reads the other:
batches, curves, rehearsals. It is no part of the journal, because nothing that is imported may
change what the watch decides, its hash chain or its size: the watch never opens it. It can be
thrown away and imported anew; whatever is in it was before the journal began.

A row's number tells its time, in thousandths of a second, so that a file that is imported later
still stands in its place when the past is told again. What is imported counts at once.
"""

from __future__ import annotations

import heapq
import logging
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from math import inf
from operator import itemgetter
from pathlib import Path
from typing import NamedTuple

from kuraban.core.effects import Turn
from kuraban.core.entries import BatchStart
from kuraban.core.facts import EntryOutcome, Fact, Logged
from kuraban.core.plan.counted_entries import ToldEntry
from kuraban.errors import JournalError
from kuraban.store.connection import connect, telling, transaction
from kuraban.store.history import History
from kuraban.store.schema import Foreign, migrate
from kuraban.store.writer import Writer

log = logging.getLogger("kuraban")

NAME = "kuraban.past"
ROOM = 4096
"""Numbers of a thousandth of a second: more than a house has probes."""
HOUSE = 1
"""The number of the house by which the past is rehearsed: that of the last import."""


def archive_of(journal: Path) -> Path:
    return journal.with_name(NAME)


class Added(NamedTuple):
    """Of what was offered: new, there already, and there already with another value."""

    new: int = 0
    known: int = 0
    other: int = 0


class Archive:
    """Writes the archive beside the journal at `path`; JournalError where it cannot be written.

    Everything between `begin` and its end is written, or nothing.
    """

    def __init__(self, journal: Path) -> None:
        self.path = archive_of(journal)
        with telling(self.path, "open the archive"):
            self.path.parent.mkdir(parents=True, exist_ok=True)
            self._db = connect(self.path, "rwc")
            try:
                migrate(self._db)
            except Foreign as foreign:
                self._db.close()
                raise JournalError(f"{self.path}: {foreign}") from foreign
            except BaseException:
                self._db.close()
                raise
        self._probes: dict[str, int] = {}

    def close(self) -> None:
        self._db.close()

    @contextmanager
    def begin(self) -> Iterator[None]:
        try:
            with telling(self.path, "write what is imported"), transaction(self._db):
                yield
        except BaseException:
            self._probes.clear()
            raise

    def house(self, document: str) -> None:
        """Keep the house to which the names belong."""
        ends = [
            found[0] // ROOM / 1000
            for table in ("reading", "entry")
            for which in ("min", "max")
            for found in self._db.execute(f"SELECT {which}(seq) FROM {table}")
            if found[0] is not None
        ]
        if ends:
            row = (HOUSE, min(ends) - 1.0, document)
            self._db.execute("INSERT OR REPLACE INTO house VALUES (?, ?, ?)", row)
            self._db.execute("UPDATE state SET now = ?", (max(ends) + 1.0,))

    def readings(self, readings: Sequence[tuple[str, float, float]]) -> Added:
        """(probe, at, value); of one probe and time the first is kept."""
        rows = []
        for probe, at, value in readings:
            number = self._probes.get(probe) or self._probe(probe)
            rows.append((int(at * 1000) * ROOM + number, number, at, value))
        insert = "INSERT INTO reading VALUES (?, ?, ?, ?, NULL, NULL, 0) ON CONFLICT DO NOTHING"
        new = self._db.executemany(insert, rows).rowcount
        if new == len(rows):
            return Added(new)
        same = "SELECT count(*) FROM reading WHERE probe = ?2 AND at = ?3 AND value = ?4 AND ?1"
        told = sum(self._db.execute(same, row).fetchone()[0] for row in rows)
        return Added(new, told - new, len(rows) - told)

    def _probe(self, probe: str) -> int:
        self._db.execute("INSERT INTO probe(id) VALUES (?) ON CONFLICT DO NOTHING", (probe,))
        select = "SELECT number FROM probe WHERE id = ?"
        self._probes[probe] = int(self._db.execute(select, (probe,)).fetchone()[0])
        return self._probes[probe]

    def entries(self, entries: Iterable[Logged], course_json: Callable[[str], str]) -> Added:
        """Entries that count; a batch keeps its course as it is now."""
        new = known = 0
        for logged in entries:
            there = "SELECT 1 FROM entry WHERE subject = ? AND id = ?"
            if self._db.execute(there, logged.key).fetchone():
                known += 1
                continue
            new += 1
            writer = Writer(self._db, self._probes)
            writer.seq = self._free(logged.at) - 1
            outcome = EntryOutcome(logged.subject, logged.id, "counted", logged.at)
            writer.turn(Turn(now=logged.at, facts=[logged, outcome]))
            if isinstance(entry := logged.entry, BatchStart):
                kept = (entry.batch, logged.subject, course_json(entry.course))
                writer.courses([kept], logged.at)
        return Added(new, known)

    def _free(self, at: float) -> int:
        first = int(at * 1000) * ROOM
        select = "SELECT max(seq) FROM entry WHERE seq >= ? AND seq < ?"
        taken = self._db.execute(select, (first, first + ROOM)).fetchone()[0]
        return first if taken is None else int(taken) + 2


class WholeHistory(History):
    """The journal at `path` with the past beside it, where there is one: for whoever looks back.

    `past` is the archive by itself; one that cannot be opened is told and left out. What is told of
    both is told as if it were one.
    """

    def __init__(self, path: Path) -> None:
        super().__init__(path)
        archive = archive_of(path)
        try:
            self.past = History(archive) if archive.is_file() else None
        except JournalError as error:
            log.warning("%s; the past is left out", error)

    def close(self) -> None:
        super().close()
        if self.past is not None:
            self.past.close()

    def readings(self, probe: str, start: float, end: float) -> Iterator[tuple[float, float]]:
        own = super().readings(probe, start, end)
        if self.past is None:
            return own
        return heapq.merge(self.past.readings(probe, start, end), own)

    def graded(self, probe: str, start: float, end: float) -> Iterator[tuple[float, float, int]]:
        own = super().graded(probe, start, end)
        if self.past is None:
            return own
        return heapq.merge(self.past.graded(probe, start, end), own, key=itemgetter(0))

    def told(
        self, subject: str | None, start: float, end: float, known_by: float | None = None
    ) -> Iterator[ToldEntry]:
        if self.past is not None:
            yield from self.past.told(subject, start, end, known_by)
        yield from super().told(subject, start, end, known_by)

    def facts_since(self, since: float | None, until: float | None) -> Iterator[tuple[int, Fact]]:
        """Every fact of the journal, and before them the past where `since` lies in it."""
        begun = self.begun() or inf
        if self.past is not None and since is not None and since < begun:
            yield from self.past.facts_after(0, until)
        yield from super().facts_since(since, until)
