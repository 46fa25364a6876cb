"""Facts, steps and messages as rows, and rows as what they were.

Numbers come back exactly as they went in, with one exception that SQLite makes: -0.0 becomes 0.0.
Durations and times inside an entry's body are plain seconds.
"""

from __future__ import annotations

import heapq
import logging
import sqlite3
from collections.abc import Callable, Iterable, Iterator
from operator import itemgetter
from typing import Any, TypeVar

import msgspec

from kuraban.core.effects import Ask, Message, Step
from kuraban.core.entries import Amend, Duration, Entry, Moment, TakeBack, kind_of
from kuraban.core.facts import (
    ClockStepped,
    Delivered,
    EntryOutcome,
    Fact,
    HouseChanged,
    Impaired,
    Logged,
    Reading,
    Record,
    Refusal,
)
from kuraban.core.plan.counted_entries import ToldEntry
from kuraban.core.site import from_document
from kuraban.errors import JournalError

Row = tuple[Any, ...]
Made = TypeVar("Made")

log = logging.getLogger("kuraban")

_RETAINED, _LATE = 1, 2


def reading_row(seq: int, probe: int, reading: Reading) -> Row:
    received = None if reading.received == reading.at else reading.received
    marks = _RETAINED * reading.retained + _LATE * reading.late
    return seq, probe, reading.at, reading.value, received, reading.sent, marks


def refusal_row(seq: int, fact: Refusal) -> Row:
    return seq, fact.probe or "", fact.topic, fact.at, fact.reason, fact.head, fact.wild


def entry_row(seq: int, fact: Logged) -> Row:
    """The columns of `chain.ENTRY`, the link left out."""
    corrects = fact.entry.of if isinstance(fact.entry, (TakeBack, Amend)) else None
    body = msgspec.json.encode(fact.entry, enc_hook=float).decode()
    return (
        seq, fact.id, fact.subject, kind_of(fact.entry), corrects, _real(fact.at),
        _real(fact.received), fact.by, fact.way, _real(fact.seen), body,
    )  # fmt: skip


def outcome_row(seq: int, outcome: EntryOutcome) -> Row:
    """The columns of `chain.OUTCOME`, the link left out."""
    cause_subject, cause = outcome.cause or (None, None)
    body = outcome.entry
    return (
        seq, outcome.subject, outcome.id, outcome.fate, _real(outcome.received), cause_subject,
        cause, outcome.by, outcome.reason,
        None if body is None else msgspec.json.encode(body, enc_hook=float).decode(),
    )  # fmt: skip


def step_row(seq: int, step: Step) -> Row:
    """The columns of `chain.STEP`, the link left out."""
    return (
        seq, _real(step.at), step.subject, step.condition, step.step, step.urgency,
        _real(step.value), _real(step.planned), step.text, step.by,
    )  # fmt: skip


def message_row(seq: int, message: Message) -> Row:
    alarms = msgspec.json.encode(message.alarms).decode()
    return (
        seq, message.id, message.at, message.step, message.role, message.person, message.urgency,
        message.title, message.body, alarms, message.rung, message.language,
        msgspec.json.encode(message.asks).decode(),
    )  # fmt: skip


def _real(number: float | None) -> float | None:
    """The number as SQLite gives it back: a float, and never -0.0."""
    return None if number is None else number + 0.0


READING = "probe.id, reading.at, value, received, sent, marks"
ENTRY = "id, subject, body, at, received, who, way, seen"
OUTCOME = "subject, id, fate, at, cause_subject, cause, who, reason, body"
STEP = "at, subject, condition, step, urgency, value, planned, text, who"
MESSAGE = "id, at, step, role, person, urgency, title, body, alarms, rung, language, asks"


def to_reading(row: Row) -> Reading:
    probe, at, value, received, sent, marks = row
    if not marks and received is None and sent is None:
        return Reading(probe, at, value, at)
    came = at if received is None else received
    return Reading(probe, at, value, came, sent, bool(marks & _RETAINED), bool(marks & _LATE))


def to_refusal(row: Row) -> Refusal:
    probe, topic, at, reason, head, wild = row
    return Refusal(topic, at, reason, head, probe or None, bool(wild))


def to_logged(row: Row) -> Logged:
    """Raises JournalError where the body no longer is an entry."""
    id_, subject, body, at, received, who, way, seen = row
    return Logged(id_, subject, _entry(body, id_, subject), at, received, who, way, seen)


def _entry(body: str, id_: str, subject: str) -> Entry:
    try:
        return _ENTRY.decode(body)
    except (msgspec.MsgspecError, ValueError) as error:
        raise JournalError(
            f"journal: entry {id_} of {subject}: {error}; restore it from a backup"
        ) from error


def to_outcome(row: Row) -> EntryOutcome:
    """Raises JournalError where the body no longer is an entry."""
    subject, id_, fate, at, cause_subject, cause, who, reason, body = row
    return EntryOutcome(
        subject, id_, fate, at, None if cause is None else (cause_subject, cause), who, reason,
        None if body is None else _entry(body, id_, subject),
    )  # fmt: skip


TOLD = ", ".join(
    [f"entry.{column}" for column in ENTRY.split(", ")]
    + [f"outcome.{column}" for column in OUTCOME.split(", ")]
)
_ENTRY_WIDTH = ENTRY.count(",") + 1


def to_told(row: Row) -> ToldEntry:
    """An entry, and what became of it if anything did."""
    entry, outcome = row[:_ENTRY_WIDTH], row[_ENTRY_WIDTH:]
    return ToldEntry(to_logged(entry), None if outcome[0] is None else to_outcome(outcome))


def to_step(row: Row) -> Step:
    at, subject, condition, step, urgency, value, planned, text, who = row
    return Step(
        at=at, subject=subject, condition=condition, step=step, urgency=urgency, value=value,
        planned=planned, text=text, by=who,
    )  # fmt: skip


def to_message(row: Row) -> Message:
    id_, at, step, role, person, urgency, title, body, alarms, rung, language, asks = row
    return Message(
        id=id_, at=at, step=step, role=role, person=person, urgency=urgency, title=title,
        body=body, alarms=_ALARMS.decode(alarms), rung=rung, language=language,
        asks=_ASKS.decode(asks),
    )  # fmt: skip


def read_seconds(kind: type, value: object) -> object:
    """Times and durations are read as they were written: the door has judged them once."""
    if kind in (Duration, Moment) and isinstance(value, float) and abs(value) < _SHOWN:
        return kind(value)
    raise ValueError(f"{value!r} are no seconds")


_SHOWN = 253_370_764_800.0
"""The year 9999: no calendar shows a later time."""


_ENTRY: msgspec.json.Decoder[Entry] = msgspec.json.Decoder(Entry, dec_hook=read_seconds)
_ALARMS = msgspec.json.Decoder(tuple[str, ...])
_ASKS = msgspec.json.Decoder(tuple[Ask, ...])

CLOCK = "received, by, ahead, since, watched"


def to_step_of_clock(row: Row) -> ClockStepped:
    received, by, ahead, since, watched = row
    return ClockStepped(received, by, ahead, since, bool(watched))


_FACTS: tuple[tuple[str, Callable[[Row], Fact]], ...] = (
    (f"SELECT seq, {READING} FROM reading JOIN probe ON probe.number = reading.probe", to_reading),
    ("SELECT seq, probe, topic, at, reason, head, wild FROM refusal", to_refusal),
    (f"SELECT seq, {ENTRY} FROM entry", to_logged),
    ("SELECT seq, received, document FROM house", lambda row: HouseChanged(*row)),
    (
        "SELECT seq, row, person, at, received, sent, tries, reason FROM delivery",
        lambda row: Delivered(row[0], row[1], row[2], row[3], bool(row[4]), row[5], row[6]),
    ),
    (
        "SELECT seq, part, holds, received, reason FROM impaired",
        lambda row: Impaired(row[0], bool(row[1]), row[2], row[3]),
    ),
    (f"SELECT seq, {CLOCK} FROM clock_step", to_step_of_clock),
)


def has(db: sqlite3.Connection, table: str) -> bool:
    """Whether the journal has a table; one that waits for a newer watch lacks what it will add."""
    select = "SELECT count(*) FROM sqlite_schema WHERE name = ?"
    return bool(db.execute(select, (table,)).fetchone()[0])


def clock_steps(db: sqlite3.Connection, until: int | None = None) -> list[tuple[int, ClockStepped]]:
    """Every step of the wall clock with its number, in order, up to the one numbered `until`."""
    if not has(db, "clock_step"):
        return []
    found = db.execute(
        f"SELECT seq, {CLOCK} FROM clock_step WHERE ?1 IS NULL OR seq <= ?1 ORDER BY seq", (until,)
    )
    return [(row[0], to_step_of_clock(row[1:])) for row in found]


def facts_after(
    db: sqlite3.Connection, seq: int, until: float | None
) -> Iterator[tuple[int, Fact]]:
    """Every fact numbered beyond `seq` with its number, in order, none received after `until`."""
    known = _FACTS if has(db, "clock_step") else _FACTS[:-1]
    streams = [_stream(db, select, make, seq) for select, make in known]
    for number, fact in heapq.merge(*streams, key=itemgetter(0)):
        if until is not None and received_of(fact) > until:
            return
        yield number, fact


def _stream(
    db: sqlite3.Connection, select: str, make: Callable[[Row], Fact], seq: int
) -> Iterator[tuple[int, Fact]]:
    def numbered(row: Row) -> tuple[int, Fact]:
        return row[0], make(row[1:])

    return readable(numbered, db.execute(f"{select} WHERE seq > ? ORDER BY seq", (seq,)))


def readable(make: Callable[[Row], Made], found: Iterable[Row]) -> Iterator[Made]:
    """What the rows were. One that cannot be read is told once and left out: it stops nobody."""
    for row in found:
        try:
            made = make(row)
        except UNREADABLE as error:
            if (wrong := str(error)) not in _TOLD:
                _TOLD.add(wrong)
                log.error("%s. It is left out; `kuraban journal verify` names it", wrong)
            continue
        yield made


def unreadable(db: sqlite3.Connection) -> Iterator[tuple[int, str]]:
    """Number and fault of every fact that the watch could not take up again, table by table."""
    for select, make in _FACTS:
        for row in db.execute(f"{select} ORDER BY seq"):
            try:
                fact = make(row[1:])
                if isinstance(fact, HouseChanged):
                    from_document(fact.document)
            except UNREADABLE as error:
                yield row[0], str(error)


UNREADABLE = (JournalError, msgspec.MsgspecError, ValueError, TypeError)
_TOLD: set[str] = set()


def received_of(fact: Record) -> float:
    """When the watch came to know it."""
    return fact.at if isinstance(fact, Refusal) else fact.received
