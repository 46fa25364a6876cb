"""The hash chain over entries, what became of them, and alarm steps: what was said stays so.

Every entry, outcome and step is a link, numbered 1, 2, 3 ... across the tables. Outcomes are links
because a record rests on them as on the entries: whoever could turn a refused end of a batch into
one that counts would have changed what the entry says. Its hash is SHA-256 over the hash of the
link before it and the row's canonical bytes: the JSON array of the table's name, the link's number
and the columns below. The state row keeps the last hash and the number of links, so that rows
missing at the end are noticed too.

It shows a row that was altered or removed with an editor or by a failing disk. It is no seal
against somebody who works the whole chain out afresh: for that, keep the last hash elsewhere.
Readings are no links: SQLite's own check finds damage in them, but no value that was changed.
"""

from __future__ import annotations

import hashlib
import heapq
import sqlite3
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC
from itertools import starmap
from operator import attrgetter
from pathlib import Path

import msgspec

from kuraban.core.units import show_time
from kuraban.errors import Fault
from kuraban.store.rows import Row

ENTRY = ("seq, id, subject, kind, corrects, at, received, who, way, seen, body", "id", 5)
OUTCOME = (
    "seq, subject, id, fate, at, cause_subject, cause, who, reason, body", "id", 4,
)  # fmt: skip
STEP = ("seq, at, subject, condition, step, urgency, value, planned, text, who", "step", 1)

TABLES = {"entry": ENTRY, "outcome": OUTCOME, "step": STEP}
RIGHT = "restore it from a backup, or leave it and note why"


@dataclass(frozen=True, slots=True)
class _Link:
    number: int
    table: str
    columns: Row
    hash: bytes
    at: float
    name: str


def next_hash(before: bytes, table: str, number: int, columns: Row) -> bytes:
    """The hash of link `number` whose row holds `columns`, after the link with hash `before`."""
    return hashlib.sha256(before + msgspec.json.encode((table, number, *columns))).digest()


def walk(
    db: sqlite3.Connection, where: Path, walked: Callable[[int], None] = lambda number: None
) -> Iterator[Fault]:
    """Everything that does not fit, in the order of the chain; nothing where all is well.

    `walked` hears the number of each link.
    """
    count, head = db.execute("SELECT links, head FROM state").fetchone()
    number, before, at = 0, b"", None
    there = {name for (name,) in db.execute("SELECT name FROM sqlite_schema")}
    tables = (_links(db, table) for table in TABLES if table in there)
    for link in heapq.merge(*tables, key=attrgetter("number")):
        if link.number != number + 1:
            yield _missing(where, number + 1, link.number - 1, at, link.at)
        elif next_hash(before, link.table, link.number, link.columns) != link.hash:
            yield _altered(where, link)
        number, before, at = link.number, link.hash, link.at
        walked(number)
    if number < count:
        yield _missing(where, number + 1, count, at, None)
    elif before != head:
        yield Fault(str(where), f"link {number}", "is not the one written last", RIGHT)


def _links(db: sqlite3.Connection, table: str) -> Iterator[_Link]:
    columns, name, at = TABLES[table]
    select = f"SELECT link, hash, {name}, subject, {columns} FROM {table} ORDER BY link"

    def link(number: int, hash_: bytes, named: str, subject: str, *rest: object) -> _Link:
        moment = rest[at]
        assert isinstance(moment, float)
        return _Link(number, table, rest, hash_, moment, f"{table} {named} of {subject}")

    return starmap(link, db.execute(select))


def _altered(where: Path, link: _Link) -> Fault:
    return Fault(
        str(where),
        f"link {link.number}",
        f"{link.name} at {show_time(link.at, UTC)} no longer says what was written then",
        RIGHT,
    )


def _missing(
    where: Path, first: int, last: int, after: float | None, before: float | None
) -> Fault:
    sides = (("after", after), ("before", before))
    span = " and ".join(f"{side} {show_time(at, UTC)}" for side, at in sides if at is not None)
    lost = "1 row is missing" if first == last else f"{last - first + 1} rows are missing"
    key = f"link {first}" if first == last else f"links {first} to {last}"
    return Fault(str(where), key, f"{lost}, written {span}" if span else lost, RIGHT)
