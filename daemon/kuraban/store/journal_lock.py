"""One watch a journal: the second is refused, with the number of the process that has it.

Two would both judge, ring everybody twice and break each other's turns. The lock lies in a file
beside the journal and is the system's (flock(2)): it ends with the process, however that ends. The
journal itself cannot carry it, since to close a second handle on it would drop SQLite's own locks.
"""

from __future__ import annotations

import fcntl
import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from kuraban.errors import JournalError


@contextmanager
def held(journal: Path) -> Iterator[None]:
    """Hold the journal at `journal` for as long as the block runs.

    JournalError where another process has it. Where no file can be made beside it (a disk that is
    full or read-only, a file system without locks) the watch is worth more than the lock.
    """
    lock = journal.with_name(f"{journal.name}.lock")
    try:
        journal.parent.mkdir(parents=True, exist_ok=True)
        file = os.open(lock, os.O_RDWR | os.O_CREAT, 0o640)
    except OSError:
        yield
        return
    try:
        if not _free(file):
            raise JournalError(_taken(journal, file))
        _sign(file)
        yield
    finally:
        os.close(file)


def _free(file: int) -> bool:
    """Take the lock; False where another process has it. Where there are no locks, nobody has."""
    try:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        return not isinstance(error, BlockingIOError)
    return True


def _sign(file: int) -> None:
    """Say who holds it; on a full disk the lock holds without the number."""
    with suppress(OSError):
        os.ftruncate(file, 0)
        os.pwrite(file, str(os.getpid()).encode(), 0)


def _taken(journal: Path, file: int) -> str:
    number = os.pread(file, 20, 0).decode(errors="replace").strip()
    who = f"process {number}" if number.isdigit() else "another process"
    return (
        f"{journal}: {who} watches with this journal already; one watch a journal: stop that one "
        "first, or name another data folder in the site file"
    )
