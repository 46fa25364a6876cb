"""What a feed has read and the broker does not have yet: on the disk, in order, bounded.

A reading stands here before it is sent, and goes when the broker has answered. Where the disk takes
nothing, the newest are held in memory and sent from there, and what was sent and cannot be struck
off is not sent again while the feed runs. A crash between answer and striking off sends a reading
twice; it carries the same time, which is nothing to the watch.
"""

from __future__ import annotations

import sqlite3
from collections import deque
from collections.abc import Callable, Iterable, Mapping
from contextlib import suppress
from pathlib import Path
from threading import Lock
from typing import Final, NamedTuple

from kuraban.errors import JournalError
from kuraban.store.connection import connect, damaged, telling, transaction

IN_MEMORY: Final = 20_000
"""Readings that are held while the disk takes nothing."""


class Waiting(NamedTuple):
    """`value` is the number or truth value as JSON, `at` Unix seconds."""

    number: int
    probe: str
    value: str
    at: float


class ReadingBuffer:
    """At most `keep` readings in the file at `path`; JournalError where it cannot be opened.

    `tell` is given a line when readings are lost, or the disk fails, and when that is over. Any
    thread may call.
    """

    def __init__(self, path: Path, keep: int, tell: Callable[[str], None]) -> None:
        self.path, self.keep, self._tell = path, keep, tell
        self._lock = Lock()
        self._fresh: deque[Waiting] = deque()
        self._sent: dict[str, int] = {}
        self._lost = 0
        self._failing = False
        try:
            self._db = self._opened()
        except JournalError as error:
            if not damaged(error):
                raise
            aside = path.with_name(f"{path.name}.damaged")
            for end in ("-wal", "-shm"):
                path.with_name(path.name + end).unlink(missing_ok=True)
            path.replace(aside)
            tell(f"{path} is damaged and lies now at {aside}: what waited in it was not sent")
            self._db = self._opened()

    def _opened(self) -> sqlite3.Connection:
        with telling(self.path, "open what was not sent yet"):
            self.path.parent.mkdir(parents=True, exist_ok=True)
            db = connect(self.path, "rwc", threads=True)
            db.execute(
                "CREATE TABLE IF NOT EXISTS reading"
                " (number INTEGER PRIMARY KEY, probe TEXT, value TEXT, at REAL)"
            )
            found = db.execute("SELECT count(*), coalesce(max(number), 0) FROM reading").fetchone()
            self._saved, self._last = int(found[0]), int(found[1])
            return db

    @property
    def count(self) -> int:
        """Readings that wait."""
        return self._saved + len(self._fresh)

    def add(self, readings: Iterable[tuple[str, str, float]]) -> None:
        """Probe, value and time of each, in their order; on the disk when this returns."""
        with self._lock:
            for probe, value, at in readings:
                self._last += 1
                self._fresh.append(Waiting(self._last, probe, value, at))
            self._save()

    def oldest(self, most: int, without: Iterable[str] = ()) -> list[Waiting]:
        """What waits longest, of all probes but those."""
        with self._lock:
            passed = self._sent | dict.fromkeys(without, 2**62)
            found: list[Waiting] = []
            where = " AND ".join(["NOT (probe = ? AND number <= ?)"] * len(passed)) or "1"
            query = f"SELECT number, probe, value, at FROM reading WHERE {where}"
            bound = [part for pair in passed.items() for part in pair]
            try:
                rows = self._db.execute(f"{query} ORDER BY number LIMIT ?", [*bound, most])
                found = [Waiting(*row) for row in rows]
            except sqlite3.Error as error:
                self._fails(error)
            fresh = (one for one in self._fresh if one.number > passed.get(one.probe, 0))
            return [*found, *fresh][:most]

    def strike_off(self, sent: Mapping[str, int]) -> None:
        """The broker has of each probe everything up to that number."""
        with self._lock:
            self._sent |= sent
            gone = [one for one in self._fresh if one.number <= sent.get(one.probe, 0)]
            for one in gone:
                self._fresh.remove(one)
            try:
                with transaction(self._db):
                    query = "DELETE FROM reading WHERE probe = ? AND number <= ?"
                    struck = self._db.executemany(query, list(self._sent.items())).rowcount
            except sqlite3.Error as error:
                self._fails(error)
                return
            self._sent.clear()
            self._saved -= struck
            self._save()

    def _save(self) -> None:
        try:
            with transaction(self._db):
                self._db.executemany("INSERT INTO reading VALUES (?, ?, ?, ?)", self._fresh)
                saved = self._saved + len(self._fresh)
                if saved > self.keep:
                    query = "SELECT number FROM reading ORDER BY number LIMIT ?"
                    self._db.execute(
                        f"DELETE FROM reading WHERE number IN ({query})", [saved - self.keep]
                    )
        except sqlite3.Error as error:
            self._fails(error)
            lost = len(self._fresh) - IN_MEMORY
            for _ in range(lost):
                self._fresh.popleft()
            self._full(lost)
            return
        self._fresh.clear()
        self._saved = min(saved, self.keep)
        self._full(saved - self.keep)
        if self._failing:
            self._failing = False
            self._tell(f"{self.path} can be written again")

    def _fails(self, error: sqlite3.Error) -> None:
        if not self._failing:
            self._failing = True
            words = "the newest readings are held in memory; free some space, look at the disk"
            self._tell(f"{self.path} cannot be written ({error}): {words}")

    def _full(self, lost: int) -> None:
        if lost > 0:
            if not self._lost:
                self._tell(f"full with {self.count:,} readings: the oldest are being dropped")
            self._lost += lost
        elif self._lost and self.count < self.keep * 0.9 and not self._failing:
            self._tell(f"no longer full; {self._lost:,} readings were dropped, the oldest first")
            self._lost = 0

    def close(self) -> None:
        with self._lock, suppress(sqlite3.Error):
            self._db.close()
