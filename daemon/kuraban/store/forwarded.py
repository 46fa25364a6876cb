"""How far each receiver of the long-term history has come, kept where the readings are."""

from __future__ import annotations

from pathlib import Path

from kuraban.store.connection import connect, telling, transaction


class Forwarded:
    """The cursor of the receiver `name` in the journal at `path`; JournalError as everywhere."""

    def __init__(self, path: Path, name: str) -> None:
        self.path, self._name = path, name
        with telling(path, "open the cursor"):
            self._db = connect(path, "rw", threads=True)

    def close(self) -> None:
        self._db.close()

    def seq(self) -> int:
        """The number of the last fact that the receiver has, 0 before the first."""
        select = "SELECT seq FROM forwarded WHERE name = ?"
        with telling(self.path, "read the cursor"):
            found = self._db.execute(select, (self._name,)).fetchone()
        return int(found[0]) if found else 0

    def move(self, seq: int) -> None:
        """The receiver answered that it has everything up to `seq`."""
        with telling(self.path, "move the cursor"), transaction(self._db):
            self._db.execute("INSERT OR REPLACE INTO forwarded VALUES (?, ?)", (self._name, seq))
