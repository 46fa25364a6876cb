"""Whether a journal is whole, and what is lost where it is not.

What would run by itself, or is another program's, is looked for first, and then nothing else is
read: a file may come from anybody. Of a journal of ours four things are looked at. SQLite's own
check finds pages, indexes and rows that do not fit. The hash chain finds entries and alarm steps
that were altered or removed behind the watch's back. Every fact is read as the watch would read it
at its start. Where the file cannot be read any further, every table is felt through from row to row
instead, so that the lost stretch has a first and a last moment.

Readings are no links of the chain: they are millions, and what is told of a batch rests on entries.
SQLite's check finds a damaged reading; one that somebody changed with an editor it does not.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import tzinfo
from pathlib import Path
from typing import NamedTuple

from kuraban.core.units import show_time
from kuraban.errors import Fault, JournalError
from kuraban.store import chain, rows
from kuraban.store.connection import connect, damaged, is_there, telling
from kuraban.store.schema import APPLICATION

MOST = 50
"""Faults of SQLite's own check that are told."""
EVERY = 10_000
"""Rows between two words about how far the look has come."""
COUNTED = ("entry", "step", "reading")


class Kept(NamedTuple):
    """A table that holds what would be missed: its name in words, its number and its moment."""

    named: str
    number: str = "seq"
    at: str = "at"


TABLES = {
    "entry": Kept("entries"),
    "outcome": Kept("what became of entries", "link"),
    "step": Kept("alarm steps"),
    "message": Kept("messages"),
    "reading": Kept("readings"),
    "summary": Kept("summaries of readings", "number", "start"),
}

FOREIGN = (
    "is no journal of kuraban",
    "name one, such as `kuraban journal backup` writes; kuraban-….journal is its name",
)
Passed = Callable[[str, float | None], None]
"""What is being looked at, and which share of it is done, None where nobody knows."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sound:
    """What was found. `first` and `last` are when the oldest and newest reading or entry was."""

    faults: tuple[Fault, ...]
    entries: int = 0
    steps: int = 0
    readings: int = 0
    """Those of which a summary is kept are counted as well."""
    first: float | None = None
    last: float | None = None
    head: str = ""
    """The last link's hash in hexadecimal: whoever keeps it elsewhere can tell a chain that was
    worked out afresh."""


class Lost(NamedTuple):
    """Rows of a table that cannot be read: after and before the rows of those moments."""

    table: str
    after: float | None
    before: float | None


def inspect(path: Path, zone: tzinfo, passed: Passed = lambda what, share: None) -> Sound:
    """Look through the journal at `path`, also while its watch runs; it is as it was at one moment.

    JournalError where there is none, or it is no journal of ours.
    """
    if not is_there(path):
        raise JournalError(f"{path}: there is no journal")
    if not _by_sqlite(path):
        return Sound(faults=(Fault(str(path), "data base", *FOREIGN),))
    try:
        with telling(path, "look through the journal"):
            db = connect(path, "ro")
    except JournalError as error:
        if damaged(error):
            return Sound(faults=(_hopeless(path, error),))
        raise
    try:
        return _looked(path, db, zone, passed)
    finally:
        db.close()


def _looked(path: Path, db: sqlite3.Connection, zone: tzinfo, passed: Passed) -> Sound:
    try:
        with telling(path, "look through the journal"):
            db.execute("BEGIN")
            strange = [Fault(str(path), "data base", *told) for told in _strange(db)]
            if strange:
                return Sound(faults=tuple(strange))
            links, head = db.execute("SELECT links, head FROM state").fetchone()
    except (JournalError, TypeError) as error:
        return Sound(faults=(_hopeless(path, error),))
    damage = [*_pages(path, db, passed)]
    altered = [*_chain(path, db, links, passed)]
    if damage:
        lost = [_told(path, one, zone) for one in _lost(db, passed)]
        return Sound(faults=(*damage, *altered, *lost))
    altered += _unreadable(path, db, passed)
    counts = {table: _one(db, f"SELECT count(*) FROM {table}") for table in COUNTED}
    first, last = db.execute(
        "SELECT min(at), max(at) FROM (SELECT min(at) AS at FROM entry UNION ALL"
        " SELECT max(at) FROM entry UNION ALL SELECT at FROM reading WHERE seq IN"
        " ((SELECT min(seq) FROM reading), (SELECT max(seq) FROM reading)))"
    ).fetchone()
    summed, since = _summed(db)
    first = min((at for at in (first, since) if at is not None), default=None)
    return Sound(
        faults=tuple(altered), entries=counts["entry"], steps=counts["step"],
        readings=counts["reading"] + summed, first=first, last=last, head=bytes(head).hex(),
    )  # fmt: skip


def _by_sqlite(path: Path) -> bool:
    """Whether the file begins as SQLite's do, or with nothing at all, as a lost beginning does."""
    with telling(path, "look through the journal"), path.open("rb") as file:
        begins = file.read(16)
    return begins == b"SQLite format 3\0" or not begins.strip(b"\0")


def _strange(db: sqlite3.Connection) -> Iterator[tuple[str, str]]:
    """What no journal of ours holds, and what would be right."""
    if db.execute("PRAGMA application_id").fetchone()[0] != APPLICATION:
        yield FOREIGN
        return
    for kind, name in db.execute(
        "SELECT type, name FROM sqlite_schema WHERE type IN ('trigger', 'view')"
        " OR sql LIKE 'CREATE VIRTUAL%'"
    ):
        wrong = f"holds the {kind} {name}, which would run by itself: somebody put it there"
        yield wrong, "use another backup"


def _summed(db: sqlite3.Connection) -> tuple[int, float | None]:
    """Readings that are in summaries, and when the oldest of these begins."""
    if "summary" not in _tables(db):
        return 0, None
    found: tuple[int, float | None] = db.execute(
        "SELECT coalesce(sum(readings), 0), min(start) FROM summary"
    ).fetchone()
    return found


def _one(db: sqlite3.Connection, select: str) -> int:
    return int(db.execute(select).fetchone()[0])


def _tables(db: sqlite3.Connection) -> list[str]:
    there = {name for (name,) in db.execute("SELECT name FROM sqlite_schema")}
    return [table for table in TABLES if table in there]


def _hopeless(path: Path, error: Exception) -> Fault:
    why = error.__cause__ or error
    wrong = f"nothing can be read ({why}): everything in it is lost"
    return Fault(str(path), "data base", wrong, "restore a backup: kuraban journal restore")


def _pages(path: Path, db: sqlite3.Connection, passed: Passed) -> Iterator[Fault]:
    passed("pages", None)
    try:
        for (line,) in db.execute(f"PRAGMA integrity_check({MOST})"):
            if line != "ok":
                yield Fault(str(path), "data base", " ".join(line.split()), chain.RIGHT)
    except sqlite3.DatabaseError as error:
        yield Fault(str(path), "data base", str(error), chain.RIGHT)


def _chain(path: Path, db: sqlite3.Connection, links: int, passed: Passed) -> Iterator[Fault]:
    def walked(number: int) -> None:
        if number % EVERY == 0:
            passed("entries and alarm steps", number / max(links, 1))

    passed("entries and alarm steps", 0.0)
    try:
        yield from chain.walk(db, path, walked)
    except sqlite3.DatabaseError as error:
        wrong = f"the chain of entries and alarm steps cannot be followed to its end ({error})"
        yield Fault(str(path), "data base", wrong, chain.RIGHT)


def _unreadable(path: Path, db: sqlite3.Connection, passed: Passed) -> Iterator[Fault]:
    passed("facts, as the watch would read them", None)
    for number, wrong in rows.unreadable(db):
        yield Fault(str(path), f"fact {number}", wrong, "the watch leaves it out; tell it anew")


def _told(path: Path, lost: Lost, zone: tzinfo) -> Fault:
    sides = (("after", lost.after), ("before", lost.before))
    span = " and ".join(f"{side} {show_time(at, zone)}" for side, at in sides if at is not None)
    wrong = f"cannot be read any more: those {span}" if span else "cannot be read any more"
    return Fault(str(path), TABLES[lost.table].named, wrong, chain.RIGHT)


def _lost(db: sqlite3.Connection, passed: Passed) -> Iterator[Lost]:
    end = _one(db, "SELECT seq FROM state")
    for table in _tables(db):

        def felt(seq: int, named: str = TABLES[table].named) -> None:
            passed(named, seq / max(end, 1))

        yield from _stretches(db, table, end, felt)


def _stretches(
    db: sqlite3.Connection, table: str, end: int, felt: Callable[[int], None]
) -> Iterator[Lost]:
    """Stretches of the table that cannot be read, in the order of its rows."""
    at, seq = None, 0
    while True:
        try:
            for count, row in enumerate(db.execute(_run(table), (seq,))):
                seq, at = row[0] + 1, row[1]
                if count % EVERY == 0:
                    felt(seq)
            return
        except sqlite3.DatabaseError:
            # A cursor reads one row ahead: what it did not hand out any more may be there.
            while (read := _row(db, table, seq)) is not None:
                seq, at = read[0] + 1, read[1]
            found = _next(db, table, seq, end)
            yield Lost(table, at, None if found is None else found[1])
        if found is None:
            return
        seq = found[0]


def _run(table: str) -> str:
    """Number, moment and everything of every row from a number on, without any index."""
    _, number, at = TABLES[table]
    return (
        f"SELECT {number}, {at}, * FROM {table} NOT INDEXED WHERE {number} >= ? ORDER BY {number}"
    )


def _next(db: sqlite3.Connection, table: str, seq: int, end: int) -> tuple[int, float] | None:
    """Number and moment of the first row after a damaged place; None where there is none."""
    bad, step = seq, 1
    while (found := _row(db, table, bad + step)) is None:
        if bad + step > end:
            return None
        bad, step = bad + step, 2 * step
    good = bad + step
    while good - bad > 1:
        middle = (good + bad) // 2
        tried = _row(db, table, middle)
        if tried is None:
            bad = middle
        else:
            good, found = middle, tried
    return found


def _row(db: sqlite3.Connection, table: str, seq: int) -> tuple[int, float] | None:
    """The first row from a number on, None where it cannot be reached or there is none."""
    try:
        row = db.execute(f"{_run(table)} LIMIT 1", (seq,)).fetchone()
    except sqlite3.DatabaseError:
        return None
    return None if row is None else (row[0], row[1])
