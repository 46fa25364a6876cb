"""What becomes of readings when they are old: summaries that keep every extreme.

    at full length  --days-->  one minute  --minute_days-->  ten minutes, for good

An hour of a probe is taken out of `reading` and put into `summary` in one transaction, so that a
reading is there at full length or in its summary, never both and never neither, wherever the watch
is killed. Entries, alarm steps and messages are never touched. Some readings stay at full length
whatever their age: what came after the engine's checkpoint or in the last day, since a restart
lives through them again; what the long history does not have yet; those of running batches; and
the newest of each probe, which says when it was heard last.

Who works here is the watch loop itself, in its idle moments, on its own connection, and a step is
kept to `MOST` readings, some milliseconds. A second connection would have to take the write lock
from the watch: a turn that comes just then would wait in SQLite's busy handler, which looks again
after 1, 2, 5, 10 ... milliseconds, and the interpreter's lock would be shared besides. The loop
alone knows when nothing waits.

Steps go by the hour, the oldest first, and through the probes within it. The rows of one hour lie
together, so that a step of 240 readings writes some sixty pages; going through a probe's days each
row would lie on a page of its own, and a memory card would be written four times as much.

The disk space is used again, not given back: what a day frees is what the next day needs, and the
file stays as large as its readings at full length once were. To move pages about for a smaller file
would write the card once more for nothing.

A reading that comes when its slot is a summary already is the same reading again, or too late by
months: it is counted as a duplicate and not kept. Where the slot is empty it is kept.
"""

from __future__ import annotations

import math
import sqlite3
from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass, field

from kuraban.core.units import DAY
from kuraban.store.connection import transaction
from kuraban.store.upkeep.summary import (
    MINUTES,
    SLOTS,
    TENS,
    Point,
    coarser,
    joined,
    pack,
    slot_of,
    span_of,
    summed,
    unpack,
)

MOST = 240
"""Readings, or points of one minute, of one step."""
UNTOUCHED = DAY
"""Nothing that was received so lately is summarised; a restart needs fourteen hours of it."""

_OF = "probe = ? AND at >= ? AND at < ? AND seq <= ? AND coalesce(received, at) < ?"


@dataclass(frozen=True, slots=True)
class Bounds:
    """What may be summarised: readings before `full`, minutes before `minutes`, Unix seconds."""

    now: float
    full: float
    minutes: float
    receivers: tuple[str, ...] = ()
    """Those of the long history, who must have them first."""
    held: Mapping[str, float] = field(default_factory=dict)
    """By probe: from then on its readings stay as they are."""


class Retention:
    """Works on `db`, the writer's connection, outside its transactions."""

    def __init__(self, db: sqlite3.Connection) -> None:
        self._db = db
        self._hour = 0
        self._probes: deque[tuple[int, str]] = deque()
        """Number and id of those with readings in this hour that may be summarised."""

    def step(self, bounds: Bounds) -> int:
        """Summarise a little; how many readings and points were taken in, 0 if nothing is left."""
        last = self._last(bounds)
        if self._probes and (taken := self._minutes(bounds, last)):
            return taken
        self._look(bounds, last)
        return self._minutes(bounds, last) if self._probes else self._tens(bounds)

    def _last(self, bounds: Bounds) -> int:
        """The number of the last reading that nobody needs at full length."""
        lasts = [self._db.execute("SELECT seq FROM checkpoint").fetchone()]
        select = "SELECT coalesce((SELECT seq FROM forwarded WHERE name = ?), 0)"
        lasts += [self._db.execute(select, (name,)).fetchone() for name in bounds.receivers]
        found = [int(last[0]) for last in lasts if last is not None]
        return min(found, default=2**62)

    def _look(self, bounds: Bounds, last: int) -> None:
        """The oldest hour in which there is work, and its probes."""
        oldest: dict[tuple[int, str], int] = {}
        full = self._full(bounds, last)
        for number, probe in self._db.execute("SELECT number, id FROM probe").fetchall():
            found = self._db.execute(
                f"SELECT at FROM reading WHERE {_OF} ORDER BY at LIMIT 1",
                (number, -math.inf, self._before(number, probe, full, bounds), last, _came(bounds)),
            ).fetchone()
            if found is not None:
                oldest[number, probe] = span_of(found[0], MINUTES)
        self._hour = min(oldest.values(), default=0)
        self._probes.extend(one for one, hour in oldest.items() if hour == self._hour)

    def _full(self, bounds: Bounds, last: int) -> float:
        """Whole hours. Nothing was measured much later than it came: so much is not looked through
        in vain while the long history is away."""
        known = self._db.execute(
            "SELECT coalesce(received, at) FROM reading WHERE seq <= ? ORDER BY seq DESC LIMIT 1",
            (last,),
        ).fetchone()
        full = span_of(bounds.full, MINUTES)
        return -math.inf if known is None else min(full, float(known[0]) + DAY)

    def _before(self, number: int, probe: str, full: float, bounds: Bounds) -> float:
        """Before when readings of a probe may be summarised; never its newest one."""
        select = "SELECT max(at) FROM reading WHERE probe = ?"
        newest = self._db.execute(select, (number,)).fetchone()[0]
        return -math.inf if newest is None else min(full, newest, bounds.held.get(probe, full))

    def _minutes(self, bounds: Bounds, last: int) -> int:
        """Readings of the hour, of as many probes as there is room for."""
        full, end = self._full(bounds, last), self._hour + MINUTES * SLOTS
        taken = 0
        with transaction(self._db):
            while self._probes and taken < MOST:
                (number, probe), room = self._probes[0], MOST - taken
                before = min(self._before(number, probe, full, bounds), end)
                rows = self._db.execute(
                    f"SELECT at, value, seq FROM reading WHERE {_OF} ORDER BY at LIMIT ?",
                    (number, self._hour, before, last, _came(bounds), room),
                ).fetchall()
                if len(rows) < room:
                    self._probes.popleft()
                if rows:
                    self._take_in(number, rows)
                taken += len(rows)
            self._db.execute("UPDATE state SET whole = max(coalesce(whole, ?1), ?1)", (end,))
        return taken

    def _take_in(self, probe: int, rows: list[tuple[float, float, int]]) -> None:
        points = summed([(at, value) for at, value, _ in rows], self._hour, MINUTES)
        self._put(probe, MINUTES, self._hour, points)
        self._db.executemany("DELETE FROM reading WHERE seq = ?", [(row[2],) for row in rows])

    def _put(self, probe: int, grain: int, start: int, points: list[Point]) -> None:
        """Write a span, or join it with what is there."""
        there = self._db.execute(
            "SELECT points FROM summary WHERE probe = ? AND grain = ? AND start = ?",
            (probe, grain, start),
        ).fetchone()
        if there is not None:
            points = joined([*unpack(there[0]), *points])
        self._db.execute(
            "INSERT INTO summary(probe, grain, start, readings, points) VALUES (?, ?, ?, ?, ?)"
            " ON CONFLICT(probe, grain, start) DO UPDATE"
            " SET readings = excluded.readings, points = excluded.points",
            (probe, grain, start, sum(point.readings for point in points), pack(points)),
        )

    def _tens(self, bounds: Bounds) -> int:
        """Old spans of minutes into those of tens, the oldest ten hours first."""
        length = TENS * SLOTS
        oldest = self._db.execute(
            "SELECT probe.number, (SELECT min(start) FROM summary"
            " WHERE probe = probe.number AND grain = ?) AS oldest FROM probe"
            " WHERE oldest IS NOT NULL ORDER BY oldest",
            (MINUTES,),
        ).fetchall()
        taken = 0
        with transaction(self._db):
            for probe, first in oldest:
                start = span_of(first, TENS)
                if start + length > bounds.minutes or taken >= MOST:
                    break
                taken += self._coarsen(probe, start, start + length)
        return taken

    def _coarsen(self, probe: int, start: int, end: int) -> int:
        where = "WHERE probe = ? AND grain = ? AND start >= ? AND start < ?"
        which = (probe, MINUTES, start, end)
        rows = self._db.execute(f"SELECT start, points FROM summary {where}", which).fetchall()
        spans = [(begun, unpack(points)) for begun, points in rows]
        self._put(probe, TENS, start, coarser(spans, start))
        self._db.execute(f"DELETE FROM summary {where}", which)
        return sum(len(points) for _, points in spans)


def _came(bounds: Bounds) -> float:
    return bounds.now - UNTOUCHED


def is_summed(db: sqlite3.Connection, probe: int, at: float) -> bool:
    """Whether the slot of that moment is a summary."""
    for grain in (MINUTES, TENS):
        start = span_of(at, grain)
        there = db.execute(
            "SELECT points FROM summary WHERE probe = ? AND grain = ? AND start = ?",
            (probe, grain, start),
        ).fetchone()
        slot = slot_of(at, start, grain)
        if there is not None and any(point.slot == slot for point in unpack(there[0])):
            return True
    return False
