"""What the journal tells to those who only read: status, history, pages, charts, forwarding.

A connection that cannot write, so that nobody who looks can delay or harm the watch.
"""

from __future__ import annotations

import heapq
import sqlite3
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple, TypeVar

import msgspec

from kuraban.core.effects import Message, Step
from kuraban.core.facts import COUNTS, ClockStepped, Fact, Logged, Reading, Refusal
from kuraban.core.plan.counted_entries import ToldEntry
from kuraban.store import outcome_migration, rows
from kuraban.store.connection import connect, telling
from kuraban.store.upkeep.summary import MINUTES, SLOTS, TENS, shown, unpack

Made = TypeVar("Made")
SLACK = 1.0
"""Taken from the end of a span, so that a whole day's end is told as that day."""


@dataclass(frozen=True, slots=True)
class RefusalCount:
    """Everything ever refused of one probe, or of all unknown topics together."""

    probe: str | None
    total: int
    wild: int
    """Of the total, bus error codes and impossible jumps."""


@dataclass(frozen=True, slots=True)
class BatchCourse:
    """The course of a batch as it was read when the batch began."""

    batch: str
    place: str
    at: float
    course_json: str


@dataclass(frozen=True, slots=True)
class Counts:
    """How often something came that the journal held already, since the journal began."""

    conflicts: int
    duplicates: int


class Shortened(NamedTuple):
    """Before `until` one value, with its extremes, is kept of each `grain` seconds."""

    until: float
    grain: int

    @property
    def key(self) -> str:
        """Of the sentence in the catalogue that tells it, with the day of `last`."""
        return "kept.minute" if self.grain == MINUTES else "kept.ten"

    @property
    def last(self) -> float:
        """A moment of the last day that is kept so."""
        return self.until - SLACK


class History:
    """A reader of the journal at `path`; several threads may share it.

    Spans hold what lies at `start` or later and before `end`, Unix seconds. Every method raises
    JournalError where the journal cannot be read; iterators do so while they are read.
    """

    past: History | None = None
    """What was before the journal, where that is read with it (`kuraban.store.archive`)."""

    def __init__(self, path: Path) -> None:
        self.path = path
        with telling(path, "read the journal"):
            self._db = connect(path, "ro", threads=True)
            if not self._has("sqlite_schema", "outcome") and self._has("sqlite_schema", "entry"):
                outcome_migration.beside(self._db)
        self._summed = self._has("sqlite_schema", "summary")
        asks = self._has("pragma_table_info('message')", "asks")
        self._message = rows.MESSAGE if asks else rows.MESSAGE.replace("asks", "'[]'")

    def close(self) -> None:
        self._db.close()

    def now(self) -> float | None:
        """The `now` of the last turn written, None before the first."""
        now: float | None = self._one("SELECT now FROM state")[0]
        return now

    def counts(self) -> Counts:
        return Counts(*self._one("SELECT conflicts, duplicates FROM state"))

    def house(self, known_by: float | None = None) -> str | None:
        """The newest house document, or that of a moment; None before the first."""
        select = (
            "SELECT document FROM house WHERE ?1 IS NULL OR received <= ?1"
            " ORDER BY seq DESC LIMIT 1"
        )
        found = list(self._each(select, (known_by,)))
        return str(found[0][0]) if found else None

    def begun(self) -> float | None:
        """When the watch first knew its house; None before that."""
        found: float | None = self._one("SELECT min(received) FROM house")[0]
        return found

    def clock_steps(self) -> tuple[ClockStepped, ...]:
        """Every step of the wall clock, oldest first."""
        with telling(self.path, "read the journal"):
            return tuple(step for _, step in rows.clock_steps(self._db))

    def readings(self, probe: str, start: float, end: float) -> Iterator[tuple[float, float]]:
        """(at, value) of one probe, in the order of their times.

        Where readings are summaries by now these are the least, the greatest and the last of each
        slot, at their times; `shortened` tells from when to when.
        """
        with telling(self.path, "read the journal"):
            # While this cursor has rows, what follows sees the journal of the same moment.
            whole: Iterator[tuple[float, float]] = self._whole("at, value", probe, start, end)
            if short := self._short(probe, start, end):
                plain = [((at, value) for at, value, _ in one) for one in short]
                whole = heapq.merge(*plain, whole)
            yield from whole

    def graded(self, probe: str, start: float, end: float) -> Iterator[tuple[float, float, int]]:
        """The same, each with the seconds that it stands for; 0 is a reading as it came."""
        with telling(self.path, "read the journal"):
            whole: Iterator[tuple[float, float, int]]
            whole = self._whole("at, value, 0", probe, start, end)
            short = self._short(probe, start, end)
            yield from heapq.merge(*short, whole) if short else whole

    def _whole(self, columns: str, probe: str, start: float, end: float) -> sqlite3.Cursor:
        """Readings at full length."""
        return self._db.execute(
            f"SELECT {columns} FROM reading"
            " WHERE probe = (SELECT number FROM probe WHERE id = ?) AND at >= ? AND at < ?"
            " ORDER BY at",
            (probe, start, end),
        )

    def _short(
        self, probe: str, start: float, end: float
    ) -> list[Iterator[tuple[float, float, int]]]:
        """What is kept of readings at each grain, where there is anything."""
        found = []
        for grain in (TENS, MINUTES) if self._summed else ():
            spans = self._db.execute(
                "SELECT start, points FROM summary WHERE grain = ?1 AND start > ?3 AND start < ?4"
                " AND probe = (SELECT number FROM probe WHERE id = ?2) ORDER BY start",
                (grain, probe, start - grain * SLOTS, end),
            ).fetchall()
            if spans:
                found.append(_within(spans, grain, start, end))
        return found

    def shortened(self, probes: Iterable[str], start: float, end: float) -> tuple[Shortened, ...]:
        """Where the readings of these probes in a span are summaries, the coarsest first."""
        named, found = msgspec.json.encode([*probes]).decode(), []
        for grain in (TENS, MINUTES) if self._summed else ():
            last = self._one(
                "SELECT max(start) FROM summary WHERE grain = ? AND start > ? AND start < ?"
                " AND probe IN (SELECT number FROM probe WHERE id IN"
                " (SELECT value FROM json_each(?)))",
                (grain, start - grain * SLOTS, end, named),
            )[0]
            if last is not None:
                found.append(Shortened(min(float(last + grain * SLOTS), end), grain))
        return tuple(found)

    def whole_from(self) -> float | None:
        """From then on every reading is at full length; None where every one is."""
        found: float | None = self._one("SELECT whole FROM state")[0] if self._summed else None
        return found

    def facts_after(self, seq: int = 0, until: float | None = None) -> Iterator[tuple[int, Fact]]:
        """Every fact numbered beyond `seq` with its number, none received after `until`."""
        with telling(self.path, "read the facts"):
            yield from rows.facts_after(self._db, seq, until)

    def facts_since(self, since: float | None, until: float | None) -> Iterator[tuple[int, Fact]]:
        """What a story from `since` on rests on: every fact, in order."""
        return self.facts_after(0, until)

    def entries(self, subject: str | None, start: float, end: float) -> Iterator[Logged]:
        """Entries of one subject or of all by their `at`; corrections beside what they correct."""
        return self._made(
            rows.to_logged,
            f"SELECT {rows.ENTRY} FROM entry WHERE at >= ?2 AND at < ?3"
            " AND (?1 IS NULL OR subject = ?1) ORDER BY at, seq",
            (subject, start, end),
        )

    def told(
        self, subject: str | None, start: float, end: float, known_by: float | None = None
    ) -> Iterator[ToldEntry]:
        """The same as they stand, or as they stood at `known_by`."""
        select = (
            f"SELECT {rows.TOLD} FROM entry LEFT JOIN outcome ON outcome.link ="
            " (SELECT max(link) FROM outcome AS one WHERE one.subject = entry.subject"
            " AND one.id = entry.id AND (?4 IS NULL OR one.at <= ?4))"
            " WHERE entry.at >= ?2 AND entry.at < ?3 AND (?1 IS NULL OR entry.subject = ?1)"
            " ORDER BY entry.at, entry.seq"
        )
        return self._made(rows.to_told, select, (subject, start, end, known_by))

    def counting(self, subject: str | None, start: float, end: float) -> Iterator[Logged]:
        """Those of them that count, amended ones as they were amended."""
        return (one.as_it_counts for one in self.told(subject, start, end) if one.counts)

    def told_of(self, subject: str, entry_id: str) -> ToldEntry | None:
        """One entry as it stands, None where it has not come."""
        select = (
            f"SELECT {rows.TOLD} FROM entry LEFT JOIN outcome ON outcome.link ="
            " (SELECT max(link) FROM outcome WHERE subject = ?1 AND id = ?2)"
            " WHERE entry.subject = ?1 AND entry.id = ?2"
        )
        return next(self._made(rows.to_told, select, (subject, entry_id)), None)

    def outcomes_after(self, link: int) -> Iterator[tuple[int, ToldEntry]]:
        """Everything that became of entries, beyond a link, with its own, as it was decided."""
        select = (
            f"SELECT outcome.link, {rows.TOLD} FROM outcome JOIN entry"
            " ON entry.subject = outcome.subject AND entry.id = outcome.id"
            " WHERE outcome.link > ? ORDER BY outcome.link"
        )
        return rows.readable(
            lambda row: (int(row[0]), rows.to_told(row[1:])), self._each(select, (link,))
        )

    def first_fates(self, since: float, *, counting: bool = False) -> Iterator[ToldEntry]:
        """Entries received since a moment with what became of each first, or with that by which it
        counted first, in the order in which that was decided."""
        which = f"AND fate IN ({', '.join(map(repr, sorted(COUNTS)))})" if counting else ""
        select = (
            f"SELECT {rows.TOLD} FROM outcome JOIN entry"
            " ON entry.subject = outcome.subject AND entry.id = outcome.id WHERE outcome.link IN"
            f" (SELECT min(link) FROM outcome WHERE at >= ?1 {which} GROUP BY subject, id)"
            " AND entry.received >= ?1 ORDER BY outcome.link"
        )
        return self._made(rows.to_told, select, (since,))

    def last_outcome(self) -> int:
        """The link of the newest outcome, 0 before the first."""
        return int(self._one("SELECT coalesce(max(link), 0) FROM outcome")[0])

    def ids(self) -> Iterator[tuple[str, str]]:
        """Subject and id of every entry there is."""
        return ((row[0], row[1]) for row in self._each("SELECT subject, id FROM entry", ()))

    def steps(self, start: float, end: float) -> Iterator[Step]:
        """Alarm steps in the order in which they came about."""
        select = f"SELECT {rows.STEP} FROM step WHERE at >= ? AND at < ? ORDER BY at, seq"
        return self._made(rows.to_step, select, (start, end))

    def standing(self, at: float | None = None) -> tuple[Step, ...]:
        """The last step of every alarm whose last step is not `normal`, oldest first; or as it was
        at a moment."""
        return tuple(
            self._made(
                rows.to_step,
                f"SELECT {rows.STEP} FROM step WHERE step <> 'normal' AND seq IN"
                " (SELECT max(seq) FROM step WHERE ?1 IS NULL OR at <= ?1"
                " GROUP BY subject, condition) ORDER BY seq",
                (at,),
            )
        )

    def messages(self, start: float, end: float) -> Iterator[Message]:
        """Messages that were made, sent or not, in the order in which they came about."""
        select = f"SELECT {self._message} FROM message WHERE at >= ? AND at < ? ORDER BY at, seq"
        return self._made(rows.to_message, select, (start, end))

    def refusal_counts(self) -> tuple[RefusalCount, ...]:
        """One for each probe that ever had a refusal, unknown topics (None) first."""
        select = "SELECT probe, total, wild FROM refusal_count ORDER BY probe"
        return tuple(
            RefusalCount(probe or None, total, wild)
            for probe, total, wild in self._each(select, ())
        )

    def refusals(self, probe: str | None) -> Iterator[Refusal]:
        """The refusals kept of one probe, or of unknown topics, newest first."""
        return self._made(
            rows.to_refusal,
            "SELECT probe, topic, at, reason, head, wild FROM refusal WHERE probe = ?"
            " ORDER BY seq DESC",
            (probe or "",),
        )

    def probes_last(self) -> tuple[Reading, ...]:
        """The newest reading of every probe that ever had one, by probe."""
        return tuple(
            self._made(
                rows.to_reading,
                f"SELECT {rows.READING} FROM probe JOIN reading ON reading.probe = probe.number"
                " AND reading.at = (SELECT max(at) FROM reading WHERE probe = probe.number)"
                " ORDER BY probe.id",
                (),
            )
        )

    def courses(self, batch: str | None = None) -> tuple[BatchCourse, ...]:
        """A batch's own copies of its course, or those of all, oldest first."""
        select = "SELECT batch, place, at, course_json FROM batch_course"
        if batch is None:
            rows = self._each(f"{select} ORDER BY at", ())
        else:
            rows = self._each(f"{select} WHERE batch = ? ORDER BY at", (batch,))
        return tuple(BatchCourse(*row) for row in rows)

    def unsent(self) -> int:
        """How many messages still wait or are being sent."""
        return int(self._one("SELECT count(*) FROM outbox")[0])

    def last_failure(self) -> tuple[float, str] | None:
        """When the latest try to send a message failed, and to whom and why; None before any."""
        select = (
            "SELECT attempt.at, service, person, reason FROM attempt JOIN message USING (id)"
            " WHERE outcome = 'failed' ORDER BY number DESC LIMIT 1"
        )
        for at, service, person, reason in self._each(select, ()):
            return at, f"{service or person}: {reason}"
        return None

    def _has(self, where: str, name: str) -> bool:
        """A journal that waits for a newer watch lacks what that one will add."""
        return bool(self._one(f"SELECT count(*) FROM {where} WHERE name = ?", (name,))[0])

    def _one(self, select: str, values: tuple[object, ...] = ()) -> rows.Row:
        return next(self._each(select, values))

    def _made(
        self, make: Callable[[rows.Row], Made], select: str, values: tuple[object, ...]
    ) -> Iterator[Made]:
        return rows.readable(make, self._each(select, values))

    def _each(self, select: str, values: tuple[object, ...]) -> Iterator[rows.Row]:
        with telling(self.path, "read the journal"):
            cursor: sqlite3.Cursor = self._db.execute(select, values)
            yield from cursor


def _within(
    spans: Iterable[tuple[int, bytes]], grain: int, start: float, end: float
) -> Iterator[tuple[float, float, int]]:
    """The values of packed spans that lie between two moments."""
    for begun, points in spans:
        for at, value in shown(begun, unpack(points)):
            if start <= at < end:
                yield at, value, grain
