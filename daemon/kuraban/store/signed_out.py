"""Visits to the pages that are over although their cookie is still good.

A cookie is signed, and whoever copied it has it for good. So the pages remember which visits were
signed out, until their cookies are too old anyway: in a small file beside the journal, so that a
visit does not begin again with the next start.
"""

from __future__ import annotations

import threading
from pathlib import Path

from kuraban.store.connection import connect, telling

FILE = "signed-out.sqlite"
_TABLE = "CREATE TABLE IF NOT EXISTS over (visit TEXT PRIMARY KEY, until REAL) WITHOUT ROWID"


class SignedOut:
    """Visits that are over; safe in any thread. JournalError where the file cannot be used."""

    def __init__(self, path: Path) -> None:
        self._path, self._turn = path, threading.Lock()
        with telling(path, "open the list of visits that are over"):
            self._db = connect(path, "rwc", threads=True)
            self._db.execute(_TABLE)
            self._over = {str(row[0]) for row in self._db.execute("SELECT visit FROM over")}

    def __contains__(self, visit: str) -> bool:
        return visit in self._over

    def add(self, visit: str, now: float, until: float) -> None:
        """It is over from now on, at once and, where the disk can be written, for good."""
        with self._turn, telling(self._path, "write that somebody signed out"):
            self._over.add(visit)
            self._db.execute("DELETE FROM over WHERE until < ?", (now,))
            self._db.execute("INSERT OR REPLACE INTO over VALUES (?, ?)", (visit, until))

    def close(self) -> None:
        self._db.close()
