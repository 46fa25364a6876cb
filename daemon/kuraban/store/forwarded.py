"""What a receiver of the long-term history has, what waits for it, and what it would not take.

The cursor of a receiver stands where the readings are: it is the number of the last row that the
receiver has. A point that it refused lies set aside beside it, with the reason, and delays nothing.
One without a reason was given back by the operator and waits to be sent once more. The forwarder's
connection writes these two tables and no other.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from operator import itemgetter
from pathlib import Path

from kuraban.core.effects import Step
from kuraban.core.facts import ClockStepped, Logged
from kuraban.core.plan.counted_entries import ToldEntry
from kuraban.core.units import DAY
from kuraban.errors import JournalError
from kuraban.store import rows
from kuraban.store.connection import Mode, connect, telling, transaction

ENTRIES_BEFORE = 120 * DAY
"""How far before the cursor entries are read to know what runs where; no batch runs longer."""
COUNTED = 100_000
"""Waiting rows beyond these are not counted any further."""
SLICE = 500
"""Points that are given back in one transaction, since the watch writes beside it."""

_RECEIVED = {
    "reading": "coalesce(received, at)", "entry": "received", "outcome": "at", "step": "at",
}  # fmt: skip
"""The tables that are forwarded, and when a row of each came to be."""
_OUTCOMES = (
    f"SELECT outcome.seq, {rows.TOLD} FROM outcome JOIN entry"
    " ON entry.subject = outcome.subject AND entry.id = outcome.id"
)


Measured = tuple[int, str, float, float]
"""A reading no wider than forwarding needs it, there are millions: number, probe, at, value."""
Event = tuple[int, Logged | ToldEntry | Step | str | ClockStepped | JournalError]
"""An entry, what became of one, an alarm step, a house as its document or a step of the clock, and
its number; the error of an entry that cannot be read any more."""


@dataclass(frozen=True, slots=True)
class Rows:
    """Everything numbered beyond a cursor up to `last`, each kind in the order of its numbers."""

    last: int
    readings: list[Measured]
    events: list[Event]


@dataclass(frozen=True, slots=True)
class SetAside:
    """A point that the receiver refused: the line as it was sent, and what was answered."""

    seq: int
    point: str
    reason: str


@dataclass(frozen=True, slots=True)
class Refused:
    """How many points were set aside for one reason, and the first of them; without its line, what
    stood there could not be read and was never sent."""

    reason: str
    count: int
    first: str


@dataclass(frozen=True, slots=True)
class Progress:
    """How far a receiver is behind."""

    waiting: int
    """Readings, entries, what became of them, steps and points given back, at most `COUNTED` of
    each."""
    oldest: float | None
    """When the first that waits was received, None where nothing waits."""
    set_aside: int
    reason: str | None
    """What was answered to the latest of those."""


class Forwarded:
    """Of the receiver `name` in the journal at `path`; JournalError as everywhere."""

    def __init__(self, path: Path, name: str, mode: Mode = "rw") -> None:
        self.path, self._name = path, name
        with telling(path, "open the cursor"):
            self._db = connect(path, mode, threads=True)

    def close(self) -> None:
        self._db.close()

    def seq(self) -> int:
        """The number of the last fact that the receiver has, 0 before the first."""
        select = "SELECT seq FROM forwarded WHERE name = ?"
        with telling(self.path, "read the cursor"):
            found = self._db.execute(select, (self._name,)).fetchone()
        return int(found[0]) if found else 0

    def move(self, seq: int, aside: Sequence[SetAside] = (), taken: Sequence[int] = ()) -> None:
        """The receiver has everything up to `seq` but what is set aside with this; of the points
        that were given back it has those that were `taken`."""
        with telling(self.path, "move the cursor"), transaction(self._db):
            self._db.executemany(
                "DELETE FROM set_aside WHERE receiver = ? AND seq = ?",
                [(self._name, number) for number in taken],
            )
            self._db.executemany(
                "INSERT OR REPLACE INTO set_aside VALUES (?, ?, ?, ?)",
                [(self._name, one.seq, one.point, one.reason) for one in aside],
            )
            self._db.execute("INSERT OR REPLACE INTO forwarded VALUES (?, ?)", (self._name, seq))

    def aside(self) -> tuple[SetAside, ...]:
        """Every point that was set aside, in the order of their numbers."""
        select = "SELECT seq, point, reason FROM set_aside WHERE receiver = ? ORDER BY seq"
        with telling(self.path, "read what was set aside"):
            return tuple(SetAside(*row) for row in self._db.execute(select, (self._name,)))

    def refused(self) -> tuple[Refused, ...]:
        """What lies set aside, by its reason, the most frequent first."""
        if self._is_older():
            return ()
        select = (
            "SELECT reason, count(*), point, min(seq) FROM set_aside"
            " WHERE receiver = ? AND reason != '' GROUP BY reason, point = ''"
            " ORDER BY count(*) DESC, min(seq)"
        )
        with telling(self.path, "read what was set aside"):
            found = self._db.execute(select, (self._name,)).fetchall()
        return tuple(Refused(*row[:3]) for row in found)

    def give_back(self) -> int:
        """Let every point that was set aside be sent once more; how many there are."""
        if self._is_older():
            return 0
        update = (
            "UPDATE set_aside SET reason = '' WHERE receiver = ?1 AND seq IN"
            " (SELECT seq FROM set_aside WHERE receiver = ?1 AND reason != '' AND point != ''"
            " LIMIT ?2)"
        )
        given = 0
        with telling(self.path, "give back what was set aside"):
            while True:
                with transaction(self._db):
                    some = self._db.execute(update, (self._name, SLICE)).rowcount
                given += some
                if some < SLICE:
                    return given

    def given_back(self, limit: int) -> list[tuple[int, str]]:
        """Number and line of points that are to be sent once more, in their order."""
        select = (
            "SELECT seq, point FROM set_aside WHERE receiver = ? AND reason = ''"
            " ORDER BY seq LIMIT ?"
        )
        with telling(self.path, "read what was given back"):
            return self._db.execute(select, (self._name, limit)).fetchall()

    def rows_after(self, seq: int, limit: int) -> Rows:
        """What is numbered beyond `seq`: at most `limit` of each kind, and none left out between.

        One writer numbers everything, so that nothing can come to stand before `last` later.
        """
        with telling(self.path, "read what is to be forwarded"):
            last = int(self._db.execute("SELECT seq FROM state").fetchone()[0])
            readings = self._readings(seq, last, limit)
            events = sorted(self._events(seq, last, limit), key=itemgetter(0))
        if len(readings) == limit:
            last = readings[-1][0]
        if len(events) >= limit and events[limit - 1][0] < last:
            last = events[limit - 1][0]
            readings = [reading for reading in readings if reading[0] <= last]
        return Rows(last, readings, [event for event in events if event[0] <= last])

    def _readings(self, seq: int, last: int, limit: int) -> list[Measured]:
        return self._db.execute(
            "SELECT seq, probe.id, at, value FROM reading JOIN probe ON probe.number = probe"
            " WHERE seq > ? AND seq <= ? ORDER BY seq LIMIT ?",
            (seq, last, limit),
        ).fetchall()

    def _events(self, seq: int, last: int, limit: int) -> Iterator[Event]:
        where = "WHERE seq > ? AND seq <= ? ORDER BY seq LIMIT ?"
        span = (seq, last, limit)
        for row in self._db.execute(f"SELECT seq, {rows.ENTRY} FROM entry {where}", span):
            yield row[0], _logged(row[1:])
        yield from self._outcomes(
            "outcome.seq > ?1 AND outcome.seq <= coalesce((SELECT seq FROM outcome"
            " WHERE seq > ?1 ORDER BY seq LIMIT 1 OFFSET ?3 - 1), ?2)", span,
        )  # fmt: skip
        for row in self._db.execute(f"SELECT seq, {rows.STEP} FROM step {where}", span):
            yield row[0], rows.to_step(row[1:])
        yield from self._db.execute(f"SELECT seq, document FROM house {where}", span)
        yield from (one for one in rows.clock_steps(self._db, last) if one[0] > seq)

    def _outcomes(self, where: str, values: tuple[object, ...]) -> Iterator[Event]:
        """All or none of those that have one number. What cannot be read any more is told as an
        entry that cannot."""
        for row in self._db.execute(f"{_OUTCOMES} WHERE {where} ORDER BY outcome.link", values):
            with suppress(JournalError):
                yield row[0], rows.to_told(row[1:])

    def before(self, seq: int) -> list[Event]:
        """Houses, what had become of entries up to `seq`, which says what runs where by then, and
        the steps of the clock, in their order."""
        with telling(self.path, "read what runs where"):
            newest = "SELECT max(received) FROM entry WHERE seq <= ?"
            since = (self._db.execute(newest, (seq,)).fetchone()[0] or 0.0) - ENTRIES_BEFORE
            found = [*self._outcomes("outcome.seq <= ? AND entry.received >= ?", (seq, since))]
            first = found[0][0] if found else seq
            found += self._db.execute(
                "SELECT seq, document FROM house WHERE seq <= ?1 AND seq >="
                " coalesce((SELECT max(seq) FROM house WHERE seq <= ?2), 0)",
                (seq, first),
            )
            found += rows.clock_steps(self._db, seq)
        return sorted(found, key=itemgetter(0))

    def oldest(self, seq: int) -> float | None:
        """When the first row numbered beyond `seq` was received, None where there is none."""
        with telling(self.path, "read what waits"):
            firsts = [
                self._db.execute(
                    f"SELECT seq, {_RECEIVED[table]} FROM {table} WHERE seq > ? ORDER BY seq"
                    " LIMIT 1",
                    (seq,),
                ).fetchone()
                for table in self._tables()
            ]
        found = min((first for first in firsts if first), default=None)
        return None if found is None else float(found[1])

    def progress(self) -> Progress:
        """How the receiver does; also of a journal that no forwarder has opened yet."""
        seq = self.seq()
        with telling(self.path, "read what waits"):
            waiting = sum(
                self._db.execute(
                    f"SELECT count(*) FROM (SELECT 1 FROM {table} WHERE seq > ? LIMIT ?)",
                    (seq, COUNTED),
                ).fetchone()[0]
                for table in self._tables()
            )
            given, *aside = (0, 0, None) if self._is_older() else self._db.execute(
                "SELECT count(*) FILTER (WHERE reason = ''), count(*) FILTER (WHERE reason != ''),"
                " (SELECT reason FROM set_aside WHERE receiver = ?1 AND reason != ''"
                " ORDER BY seq DESC LIMIT 1) FROM set_aside WHERE receiver = ?1",
                (self._name,),
            ).fetchone()  # fmt: skip
        return Progress(waiting + min(given, COUNTED), self.oldest(seq), *aside)

    def _tables(self) -> list[str]:
        """Those that are forwarded; a journal that waits for a newer watch lacks one."""
        there = {name for (name,) in self._db.execute("SELECT name FROM sqlite_schema")}
        return [table for table in _RECEIVED if table in there]

    def _is_older(self) -> bool:
        """Whether the journal waits for a watch that knows what is set aside."""
        select = "SELECT count(*) FROM sqlite_schema WHERE name = 'set_aside'"
        return not self._db.execute(select).fetchone()[0]


def _logged(row: rows.Row) -> Logged | JournalError:
    try:
        return rows.to_logged(row)
    except JournalError as error:
        return error
