"""A disk under SQLite that fills up, refuses writing, and forgets what was not synced.

The journal is a real one. Faults come at the edge of a statement, as SQLite tells them; a kill
comes there too, before or after any one. What a power cut leaves is what somebody asked the disk to
hold: every commit where `synchronous` is FULL, and nothing since the start where it is not.
"""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from unittest import mock

from greenlet import getcurrent

from tests.simulation.machine import Killed, Task

FAULTS = {
    "full": (sqlite3.SQLITE_FULL, "database or disk is full"),
    "readonly": (sqlite3.SQLITE_READONLY, "attempt to write a readonly database"),
    "io": (sqlite3.SQLITE_IOERR, "disk I/O error"),
}
WRITES = ("INSERT", "UPDATE", "DELETE", "COMMIT", "BEGIN", "CREATE", "ALTER", "DROP")
FULL = 2


class Disk:
    """One folder after the other, each the state in which the last life left it."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._number = 0
        self.fault = ""
        self.fuse: int | None = None
        """Statements until the process is killed."""
        self.commits = 0
        self._open: list[Connection] = []
        self._unsynced = False
        self.data.mkdir(parents=True)

    @property
    def data(self) -> Path:
        return self._folder / f"life-{self._number}"

    @property
    def dead(self) -> bool:
        return self.fuse is not None and self.fuse < 0

    def take(self, power_cut: bool) -> None:
        """The process is gone: what the next one finds."""
        before = self.data
        self._number += 1
        if power_cut and self._unsynced:
            shutil.copytree(before / "at-start", self.data)
        else:
            self.data.mkdir()
            for file in before.iterdir():
                if file.is_file() and not file.name.endswith("-shm"):
                    shutil.copyfile(file, self.data / file.name)
        for connection in self._open:
            connection.really_close()
        self._open, self.fuse = [], None
        shutil.rmtree(before)

    def begin(self) -> None:
        """A process starts."""
        kept = [file for file in self.data.iterdir() if file.is_file()]
        start = self.data / "at-start"
        shutil.rmtree(start, ignore_errors=True)
        start.mkdir()
        for file in kept:
            shutil.copyfile(file, start / file.name)
        self._unsynced = False

    # What connections tell.

    def before(self, statement: str, who: Connection) -> None:
        if self.dead:
            raise Killed
        if self.fault and statement.startswith(WRITES):
            code, words = FAULTS[self.fault]
            error = sqlite3.OperationalError(words)
            error.sqlite_errorcode = code
            raise error
        self._burn()

    def after(self, statement: str, who: Connection) -> None:
        if statement == "COMMIT":
            self.commits += 1
            self._unsynced = self._unsynced or who.synchronous < FULL
            self._burn()

    def _burn(self) -> None:
        if self.fuse is not None:
            self.fuse -= 1
            if self.fuse < 0:
                task = getcurrent()
                assert isinstance(task, Task)
                task.life.dead = True
                raise Killed

    @contextmanager
    def installed(self) -> Iterator[None]:
        disk, connect = self, sqlite3.connect

        def opened(*arguments: Any, **named: Any) -> Connection:
            found: Connection = connect(*arguments, factory=Connection, **named)
            if not isinstance(getcurrent(), Task):  # somebody else's process, such as the pages'
                return found
            found.disk = disk
            disk._open.append(found)
            return found

        with mock.patch.object(sqlite3, "connect", opened):
            yield
        for connection in self._open:
            connection.really_close()


class Connection(sqlite3.Connection):
    disk: Disk | None = None
    _synchronous: int | None = None

    @property
    def synchronous(self) -> int:
        if self._synchronous is None:
            self._synchronous = int(super().execute("PRAGMA synchronous").fetchone()[0])
        return self._synchronous

    def execute(self, statement: str, *values: Any) -> sqlite3.Cursor:  # type: ignore[override]
        if self.disk is None:
            return super().execute(statement, *values)
        self.disk.before(statement, self)
        found = super().execute(statement, *values)
        self.disk.after(statement, self)
        return found

    def executemany(self, statement: str, *values: Any) -> sqlite3.Cursor:  # type: ignore[override]
        if self.disk is not None:
            self.disk.before(statement, self)
        return super().executemany(statement, *values)

    def close(self) -> None:
        if self.disk is not None and not self.disk.dead and self in self.disk._open:
            self.disk._open.remove(self)
        super().close()

    def really_close(self) -> None:
        super().close()
