"""Messages that still have to reach somebody: a row stays until a courier succeeded.

    waiting ──claim──> claimed ──sent──> done (sent)
       ^                  │ ├──failed, with a next try──> waiting
       │                  │ └──failed, without──> done (failed)
       └──recover─────────┘      (a crash: doubtful, it may have been sent already)

A row whose alarm somebody has in hand is withdrawn: at once while it waits, and instead of a next
try once it was claimed. Done rows stay known; those that were sent or failed are reported to the
watch as Delivered facts, until one of its turns has written them to the journal.

One row is one message to one person, who may be reached through several services. Services are
named by whatever the courier calls them, never by an address: addresses are secrets.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from threading import Lock

from kuraban.core.effects import Message
from kuraban.core.facts import Delivered
from kuraban.store.connection import connect, telling, transaction
from kuraban.store.rows import MESSAGE, to_message

UNKNOWN = "the watch stopped while it was being sent"


@dataclass(frozen=True, slots=True)
class Row:
    """One message to one person that still has to be sent."""

    id: str
    person: str
    message: Message
    due: float
    """Unix seconds before which it is not to be tried."""
    tries: int
    """Tries begun, this one included once it is claimed."""
    doubtful: bool
    """It may have reached the person already: say so, and send it with the same id."""
    had: frozenset[str]
    """Services that took it already and are not to be given it again."""
    wanted: frozenset[str]
    """Of a page, the alarms that nobody has in hand yet."""


class Outbox:
    """The outbox in the journal at `path`, through a connection of its own.

    Several threads may share one. Every method is one short transaction and raises JournalError
    where the journal cannot be read or written.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self._lock = Lock()
        with telling(path, "open the outbox"):
            self._db = connect(path, "rw", threads=True)

    def close(self) -> None:
        with self._lock:
            self._db.close()

    def waiting(self, person: str, now: float) -> list[Row]:
        """What may be sent to `person` by now: pages first, each kind in the order made."""
        where = "outbox.person = ? AND claimed IS NULL AND due <= ?"
        with self._doing("read the outbox"):
            return self._rows(where, (person, now))

    def next_due(self, person: str) -> float | None:
        """When the first row that waits for `person` may be tried, None where none waits."""
        select = "SELECT min(due) FROM outbox WHERE person = ? AND claimed IS NULL"
        with self._doing("read the outbox"):
            due: float | None = self._db.execute(select, (person,)).fetchone()[0]
        return due

    def claim(self, row_id: str, now: float) -> Row | None:
        """Take a row to send it; None where it was taken, withdrawn or done meanwhile."""
        update = "UPDATE outbox SET claimed = ?, tries = tries + 1 WHERE id = ? AND claimed IS NULL"
        with self._writing("claim a message"):
            if not self._db.execute(update, (now, row_id)).rowcount:
                return None
            return self._rows("outbox.id = ?", (row_id,))[0]

    def tried(self, row_id: str, service: str, now: float, *, sent: bool, reason: str = "") -> None:
        """Record what one service made of a claimed row; one that took it is not asked again."""
        with self._writing("record a try"):
            _attempt(self._db, row_id, now, service, "sent" if sent else "failed", reason)
            if sent:
                self._db.execute(
                    "INSERT INTO outbox_service SELECT id, ?, ? FROM outbox WHERE id = ?"
                    " ON CONFLICT DO NOTHING",
                    (service, now, row_id),
                )

    def sent(self, row_id: str, now: float) -> None:
        """The person has it: the row is done."""
        with self._writing("record a delivery"):
            if self._claimed(row_id):
                _attempt(self._db, row_id, now, "", "sent", "")
                finish(self._db, row_id, now, "sent", "")

    def failed(self, row_id: str, now: float, reason: str, next_try: float | None) -> None:
        """It did not reach the person: wait until `next_try`, or give up where that is None."""
        with self._writing("record a failure"):
            if not self._claimed(row_id):
                return
            _attempt(self._db, row_id, now, "", "failed", reason)
            if self._withdrawn(row_id):
                finish(self._db, row_id, now, "withdrawn", reason)
            elif next_try is None:
                finish(self._db, row_id, now, "failed", reason)
            else:
                self._wait(row_id, next_try)

    def recover(self, now: float) -> int:
        """At the start: rows claimed before a crash wait again, doubtful; how many there were."""
        claimed = "SELECT id FROM outbox WHERE claimed IS NOT NULL"
        with self._writing("recover the outbox"):
            found = [str(row[0]) for row in self._db.execute(claimed)]
            for row_id in found:
                _attempt(self._db, row_id, now, "", "unknown", UNKNOWN)
                if self._withdrawn(row_id):
                    finish(self._db, row_id, now, "withdrawn", UNKNOWN)
            self._db.execute(
                "UPDATE outbox SET claimed = NULL, doubtful = 1 WHERE claimed IS NOT NULL"
            )
        return len(found)

    def unreported(self, now: float) -> tuple[Delivered, ...]:
        """Results that no turn has written to the journal yet, oldest first, received `now`."""
        select = (
            "SELECT id, person, at, outcome, tries, reason FROM outbox_done"
            " WHERE NOT reported ORDER BY at, id"
        )
        with self._doing("read the results"):
            return tuple(
                Delivered(id_, person, at, now, outcome == "sent", tries, reason)
                for id_, person, at, outcome, tries, reason in self._db.execute(select)
            )

    def _rows(self, where: str, values: tuple[object, ...]) -> list[Row]:
        columns = ", ".join(f"message.{column}" for column in MESSAGE.split(", "))
        select = (
            f"SELECT outbox.id, outbox.person, due, tries, doubtful, {columns}"
            f" FROM outbox JOIN message USING (id) WHERE {where}"
            " ORDER BY message.step = 'notice', message.seq"
        )
        return [
            Row(
                id_, person, to_message(tuple(rest)), due, tries, bool(doubtful),
                had=self._beside("service FROM outbox_service", id_),
                wanted=self._beside("alarm FROM outbox_alarm", id_),
            )
            for id_, person, due, tries, doubtful, *rest in self._db.execute(select, values)
        ]  # fmt: skip

    def _beside(self, what: str, row_id: str) -> frozenset[str]:
        rows = self._db.execute(f"SELECT {what} WHERE id = ?", (row_id,))
        return frozenset(row[0] for row in rows)

    def _claimed(self, row_id: str) -> bool:
        select = "SELECT 1 FROM outbox WHERE id = ? AND claimed IS NOT NULL"
        return self._db.execute(select, (row_id,)).fetchone() is not None

    def withdrawn(self, row_id: str) -> bool:
        """Whether somebody has in hand what a row tells of that is being sent."""
        with self._doing("read the outbox"):
            return self._withdrawn(row_id)

    def _withdrawn(self, row_id: str) -> bool:
        select = "SELECT 1 FROM outbox WHERE id = ? AND withdrawn"
        return self._db.execute(select, (row_id,)).fetchone() is not None

    def _wait(self, row_id: str, due: float) -> None:
        """A doubtful row stays so: the try that the crash cut off may still have arrived."""
        self._db.execute("UPDATE outbox SET claimed = NULL, due = ? WHERE id = ?", (due, row_id))

    @contextmanager
    def _doing(self, what: str) -> Iterator[None]:
        with self._lock, telling(self.path, what):
            yield

    @contextmanager
    def _writing(self, what: str) -> Iterator[None]:
        with self._doing(what), transaction(self._db):
            yield


def put(db: sqlite3.Connection, message: Message) -> None:
    """A row for a message that was just written; part of the journal's transaction."""
    db.execute(
        "INSERT INTO outbox(id, person, due) VALUES (?, ?, ?)",
        (message.id, message.person, message.at),
    )
    if message.step == "page":
        db.executemany(
            "INSERT INTO outbox_alarm VALUES (?, ?) ON CONFLICT DO NOTHING",
            [(alarm, message.id) for alarm in message.alarms],
        )


def withdraw(db: sqlite3.Connection, alarm: str, now: float) -> None:
    """Somebody has `alarm` in hand: pages that tell of nothing else are not to be sent.

    Part of the journal's transaction. A page of several alarms goes once all are in hand.
    """
    rows = db.execute("DELETE FROM outbox_alarm WHERE alarm = ? RETURNING id", (alarm,)).fetchall()
    for (row_id,) in rows:
        left = "SELECT 1 FROM outbox_alarm WHERE id = ?"
        if db.execute(left, (row_id,)).fetchone() is None:
            db.execute("UPDATE outbox SET withdrawn = 1 WHERE id = ?", (row_id,))
            waits = "SELECT 1 FROM outbox WHERE id = ? AND claimed IS NULL"
            if db.execute(waits, (row_id,)).fetchone() is not None:
                finish(db, row_id, now, "withdrawn", "")


def finish(db: sqlite3.Connection, row_id: str, now: float, outcome: str, reason: str) -> None:
    """Move a row from the outbox to those done; a withdrawn one has nothing to report."""
    db.execute(
        "INSERT INTO outbox_done SELECT id, person, ?, ?, tries, ?, ? FROM outbox WHERE id = ?",
        (now, outcome, reason, outcome == "withdrawn", row_id),
    )
    db.execute("DELETE FROM outbox WHERE id = ?", (row_id,))


def _attempt(
    db: sqlite3.Connection, row_id: str, now: float, service: str, outcome: str, reason: str
) -> None:
    db.execute(
        "INSERT INTO attempt(id, at, service, outcome, reason) VALUES (?, ?, ?, ?, ?)",
        (row_id, now, service, outcome, reason),
    )
