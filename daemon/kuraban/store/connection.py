"""How a connection to the journal is made, and how SQLite's errors become ours.

WAL lets the pages and the forwarder read while the watch writes. `synchronous = FULL` makes every
commit reach the disk: with less, a power cut could take readings that the broker was already told
to forget.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Literal

from kuraban.errors import NOT_ALLOWED, JournalError

MEMORY = Path(":memory:")
"""Stands for a journal that is forgotten when it is closed."""

PAGE = 1024
"""Bytes of a page of a new file. A turn of one reading changes three pages, each of another part of
the file: of 4096 bytes, SQLite's own choice, that wears a memory card out 2.7 times as fast."""

BUSY_SECONDS = 5.0
"""How long a writer waits for another one; their transactions take milliseconds."""

Mode = Literal["rwc", "rw", "ro"]

_DAMAGE = frozenset({sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB})
_ADVICE = {
    sqlite3.SQLITE_FULL: "free some space on that disk",
    sqlite3.SQLITE_READONLY: "the watch must be allowed to write this file and its folder",
    sqlite3.SQLITE_PERM: "the watch must be allowed to write this file and its folder",
    sqlite3.SQLITE_CANTOPEN: "it must be a file in a folder that the watch may write",
    sqlite3.SQLITE_BUSY: "another program holds it: one journal belongs to one watch",
    sqlite3.SQLITE_LOCKED: "another program holds it: one journal belongs to one watch",
    sqlite3.SQLITE_IOERR: "look at the disk or memory card",
    sqlite3.SQLITE_CORRUPT: "the file is damaged: restore a backup or set it aside",
    sqlite3.SQLITE_NOTADB: "it is no journal: restore a backup or set it aside",
}


def is_there(path: Path) -> bool:
    """Whether a journal lies at `path`; JournalError where this account may not know or read it."""
    try:
        found = path.is_file()
    except PermissionError:
        found = None
    if found is None or (found and not os.access(path, os.R_OK, effective_ids=True)):
        raise JournalError(f"{path}: this account may not read it; {NOT_ALLOWED}")
    return found


def on_disk(path: Path) -> None:
    """A file, or the names in a folder, outlast a power cut from now on."""
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def connect(path: Path, mode: Mode, *, threads: bool = False) -> sqlite3.Connection:
    """A connection in autocommit with our settings; sqlite3.Error where it cannot be had.

    `threads` lets several threads use it; they must take turns if they write.
    """
    where = str(path) if path == MEMORY else f"{path.absolute().as_uri()}?mode={mode}"
    db = sqlite3.connect(
        where,
        uri=path != MEMORY,
        timeout=BUSY_SECONDS,
        isolation_level=None,
        check_same_thread=not threads,
    )
    try:
        _settle(db, mode)
    except BaseException:
        db.close()
        raise
    return db


def _settle(db: sqlite3.Connection, mode: Mode) -> None:
    db.execute("PRAGMA foreign_keys = ON")
    db.execute("PRAGMA trusted_schema = OFF")
    if mode == "ro":
        db.execute("PRAGMA query_only = ON")
        return
    db.execute(f"PRAGMA page_size = {PAGE}")
    db.execute("PRAGMA journal_mode = WAL")
    db.execute("PRAGMA synchronous = FULL")
    db.execute("PRAGMA journal_size_limit = 16777216")


@contextmanager
def transaction(db: sqlite3.Connection) -> Iterator[None]:
    """Everything inside, or nothing: the write lock is taken at once."""
    db.execute("BEGIN IMMEDIATE")
    try:
        yield
        db.execute("COMMIT")
    except BaseException:
        if db.in_transaction:
            with suppress(sqlite3.Error):
                db.execute("ROLLBACK")
        raise


@contextmanager
def telling(path: Path, doing: str) -> Iterator[None]:
    """Turn SQLite's and the system's errors inside into one JournalError that names `path`."""
    try:
        yield
    except sqlite3.Error as error:
        advice = _ADVICE.get(_code(error), "nothing was changed")
        raise JournalError(f"{path}: cannot {doing}: {error}; {advice}") from error
    except OSError as error:
        wrong = error.strerror or str(error)
        raise JournalError(
            f"{path}: cannot {doing}: {wrong}; {_ADVICE[sqlite3.SQLITE_CANTOPEN]}"
        ) from error


def damaged(error: JournalError) -> bool:
    """Whether the file itself is at fault, so that setting it aside would help."""
    cause = error.__cause__
    return type(cause) is sqlite3.DatabaseError and _code(cause) in _DAMAGE


def _code(error: sqlite3.Error) -> int:
    """SQLite's primary result code; damage where we found it ourselves."""
    fallback = sqlite3.SQLITE_CORRUPT if type(error) is sqlite3.DatabaseError else 0
    return int(getattr(error, "sqlite_errorcode", fallback)) & 0xFF
