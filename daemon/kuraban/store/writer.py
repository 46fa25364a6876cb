"""Everything that one turn adds, written inside a transaction that `Journal` holds."""

from __future__ import annotations

import sqlite3
from collections import Counter
from collections.abc import Sequence
from mmap import mmap
from typing import TypeVar

import msgspec

from kuraban.core.effects import Message, Turn
from kuraban.core.facts import (
    ClockStepped,
    Delivered,
    EntryOutcome,
    HouseChanged,
    Impaired,
    Logged,
    Reading,
    Record,
    Refusal,
)
from kuraban.store import chain, rows
from kuraban.store.outbox import put, withdraw
from kuraban.store.upkeep.retention import is_summed

REFUSALS_KEPT = 1000
"""Of each probe, and of all unknown topics together."""

Kind = TypeVar("Kind")


def marks(count: int) -> str:
    return ", ".join("?" * count)


class Writer:
    """One turn's pen: `db` is inside a transaction, `probes` are the numbers known so far."""

    def __init__(self, db: sqlite3.Connection, probes: dict[str, int]) -> None:
        self._db = db
        self._probes = probes
        select = "SELECT seq, links, head, whole FROM state"
        self.seq, self._links, self._head, self._whole = db.execute(select).fetchone()
        self._duplicates = 0

    def turn(self, turn: Turn) -> None:
        self._facts(turn.facts)
        self._story(turn)
        self.keep_links()
        self._db.execute(
            "UPDATE state SET now = ?, seq = ?, conflicts = conflicts + ?,"
            " duplicates = duplicates + ?",
            (turn.now, self.seq, turn.conflicts, self._duplicates),
        )

    def keep_links(self) -> None:
        """How many links the chain has now, and the last one's hash."""
        self._db.execute("UPDATE state SET links = ?, head = ?", (self._links, self._head))

    def checkpoint(self, version: str, blob: bytes | mmap) -> None:
        """Written into its place, since to hand over a value SQLite copies it twice."""
        self._db.execute(
            "INSERT OR REPLACE INTO checkpoint VALUES (1, ?, ?, zeroblob(?))",
            (self.seq, version, len(blob)),
        )
        with self._db.blobopen("checkpoint", "blob", 1) as place:
            place.write(blob)

    def courses(self, courses: Sequence[tuple[str, str, str]], at: float) -> None:
        self._db.executemany(
            "INSERT INTO batch_course VALUES (?, ?, ?, ?) ON CONFLICT DO NOTHING",
            [(batch, place, at, course) for batch, place, course in courses],
        )

    def _facts(self, facts: Sequence[Record]) -> None:
        numbered = list(enumerate(facts, start=self.seq + 1))
        self.seq += len(numbered)
        self._readings(_only(numbered, Reading))
        self._refusals(_only(numbered, Refusal))
        for seq, logged in _only(numbered, Logged):
            self._logged(seq, logged)
        for seq, outcome in _only(numbered, EntryOutcome):
            self.outcome(seq, outcome)
        for seq, house in _only(numbered, HouseChanged):
            self._insert("house", (seq, house.received, house.document))
        for seq, result in _only(numbered, Delivered):
            self._delivered(seq, result)
        for seq, part in _only(numbered, Impaired):
            self._insert("impaired", (seq, part.part, part.holds, part.received, part.reason))
        for seq, step in _only(numbered, ClockStepped):
            self._insert("clock_step", (seq, *msgspec.structs.astuple(step)))

    def _readings(self, readings: list[tuple[int, Reading]]) -> None:
        if not readings:
            return
        numbered = [(seq, self._probe(fact.probe), fact) for seq, fact in readings]
        if self._whole is not None:
            numbered = [one for one in numbered if not self._is_summed(one[1], one[2].at)]
        added = self._db.executemany(
            f"INSERT INTO reading VALUES ({marks(7)}) ON CONFLICT(probe, at) DO NOTHING",
            [rows.reading_row(*one) for one in numbered],
        ).rowcount
        self._duplicates += len(readings) - added

    def _is_summed(self, probe: int, at: float) -> bool:
        return at < self._whole and is_summed(self._db, probe, at)

    def _probe(self, probe: str) -> int:
        number = self._probes.get(probe)
        if number is None:
            self._db.execute("INSERT INTO probe(id) VALUES (?) ON CONFLICT DO NOTHING", (probe,))
            select = "SELECT number FROM probe WHERE id = ?"
            number = int(self._db.execute(select, (probe,)).fetchone()[0])
            self._probes[probe] = number
        return number

    def _refusals(self, refusals: list[tuple[int, Refusal]]) -> None:
        self._db.executemany(
            f"INSERT INTO refusal VALUES ({marks(7)})",
            [rows.refusal_row(seq, fact) for seq, fact in refusals],
        )
        total: Counter[str] = Counter()
        wild: Counter[str] = Counter()
        for _, fact in refusals:
            total[fact.probe or ""] += fact.count
            wild[fact.probe or ""] += fact.count * fact.wild
        for probe, count in total.items():
            self._db.execute(
                "INSERT INTO refusal_count VALUES (?, ?, ?) ON CONFLICT(probe) DO UPDATE"
                " SET total = total + excluded.total, wild = wild + excluded.wild",
                (probe, count, wild[probe]),
            )
            self._forget_refusals(probe)

    def _forget_refusals(self, probe: str) -> None:
        self._db.execute(
            "DELETE FROM refusal WHERE probe = ?1 AND seq <= (SELECT seq FROM refusal"
            " WHERE probe = ?1 ORDER BY seq DESC LIMIT 1 OFFSET ?2)",
            (probe, REFUSALS_KEPT),
        )

    def _logged(self, seq: int, logged: Logged) -> None:
        columns = rows.entry_row(seq, logged)
        if not self._chained("entry", chain.ENTRY[0], columns, "ON CONFLICT(subject, id)"):
            self._duplicates += 1

    def outcome(self, seq: int, outcome: EntryOutcome) -> None:
        columns = rows.outcome_row(seq, outcome)
        self._chained("outcome", chain.OUTCOME[0], columns, "ON CONFLICT(link)")

    def _delivered(self, seq: int, fact: Delivered) -> None:
        columns = (seq, fact.row, fact.person, fact.at, fact.received, fact.sent, fact.tries)
        self._insert("delivery", (*columns, fact.reason))
        self._db.execute("UPDATE outbox_done SET reported = 1 WHERE id = ?", (fact.row,))

    def _story(self, turn: Turn) -> None:
        for event in turn.told():
            if isinstance(event, str):
                withdraw(self._db, event, turn.now)
                continue
            self.seq += 1
            if isinstance(event, Message):
                self._message(event)
                continue
            self._chained("step", chain.STEP[0], rows.step_row(self.seq, event), "ON CONFLICT(seq)")

    def _message(self, message: Message) -> None:
        """The same id again is the same message, which must not go out twice."""
        insert = f"INSERT INTO message VALUES ({marks(13)}) ON CONFLICT(id) DO NOTHING"
        if self._db.execute(insert, rows.message_row(self.seq, message)).rowcount:
            put(self._db, message)

    def _chained(self, table: str, columns: str, row: rows.Row, known: str) -> bool:
        """Write a row as the next link; False where the row is there already."""
        number = self._links + 1
        hash_ = chain.next_hash(self._head, table, number, row)
        insert = (
            f"INSERT INTO {table}(link, hash, {columns}) VALUES ({marks(len(row) + 2)})"
            f" {known} DO NOTHING"
        )
        if not self._db.execute(insert, (number, hash_, *row)).rowcount:
            return False
        self._links, self._head = number, hash_
        return True

    def _insert(self, table: str, row: rows.Row) -> None:
        self._db.execute(f"INSERT INTO {table} VALUES ({marks(len(row))})", row)


def _only(numbered: list[tuple[int, Record]], kind: type[Kind]) -> list[tuple[int, Kind]]:
    return [(seq, fact) for seq, fact in numbered if isinstance(fact, kind)]
