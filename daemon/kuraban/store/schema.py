"""The tables of the journal, and how an older journal becomes a newer one.

Every fact, alarm step and message draws its number `seq` from one counter, so that the whole story
can be told again in the order in which it came about. Nothing in the tables of facts is ever
changed, but for two things: refusals, which anyone on the network can cause, are kept to the last
thousand, and old readings become summaries (`store.upkeep.retention`). `state.whole` is the moment
before which there may be such; it is empty while every reading is at full length.

Every time in it is the watch's own (`kuraban.core.timescale`); what the wall clock showed then is
found by its steps, which are facts.

What became of an entry is a row of its own, one more at each change; the latest says how the entry
stands. In a journal that is older than these rows they were worked out when it was taken up: such
a row has the number of the entry after which it was so, so `seq` is not always unique there.

A reading is most of what a journal holds, so its row is small: the probe is a number, the time of
receipt is left out where it equals the time of the reading, and its marks share one small integer.

The outbox is work: a row stands there until a courier succeeded or nobody needs it any more.

Each migration is one transaction that ends with its own record. `PRAGMA user_version` is the number
of migrations done, `PRAGMA application_id` says that the file is ours.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator

from kuraban.store import outcome_migration
from kuraban.store.connection import transaction

APPLICATION = 0x4B555241
"""The letters KURA."""

_FIRST = """
CREATE TABLE migration(
    version INTEGER PRIMARY KEY,
    name TEXT NOT NULL,
    done TEXT NOT NULL DEFAULT CURRENT_TIMESTAMP
) STRICT;
CREATE TABLE state(
    one INTEGER PRIMARY KEY CHECK (one = 1),
    now REAL,
    seq INTEGER NOT NULL,
    links INTEGER NOT NULL,
    head BLOB NOT NULL,
    conflicts INTEGER NOT NULL,
    duplicates INTEGER NOT NULL
) STRICT;
INSERT INTO state VALUES (1, NULL, 0, 0, x'', 0, 0);

CREATE TABLE probe(number INTEGER PRIMARY KEY, id TEXT NOT NULL UNIQUE) STRICT;
CREATE TABLE reading(
    seq INTEGER PRIMARY KEY,
    probe INTEGER NOT NULL REFERENCES probe(number),
    at REAL NOT NULL,
    value REAL NOT NULL,
    received REAL,
    sent REAL,
    marks INTEGER NOT NULL
) STRICT;
CREATE UNIQUE INDEX reading_moment ON reading(probe, at);

CREATE TABLE refusal(
    seq INTEGER PRIMARY KEY,
    probe TEXT NOT NULL,
    topic TEXT NOT NULL,
    at REAL NOT NULL,
    reason TEXT NOT NULL,
    head TEXT NOT NULL,
    wild INTEGER NOT NULL
) STRICT;
CREATE INDEX refusal_probe ON refusal(probe, seq);
CREATE TABLE refusal_count(
    probe TEXT PRIMARY KEY,
    total INTEGER NOT NULL,
    wild INTEGER NOT NULL
) STRICT, WITHOUT ROWID;

CREATE TABLE entry(
    seq INTEGER PRIMARY KEY,
    link INTEGER NOT NULL UNIQUE,
    id TEXT NOT NULL,
    subject TEXT NOT NULL,
    kind TEXT NOT NULL,
    corrects TEXT,
    at REAL NOT NULL,
    received REAL NOT NULL,
    who TEXT,
    way TEXT NOT NULL,
    seen REAL,
    body TEXT NOT NULL,
    hash BLOB NOT NULL,
    UNIQUE (subject, id)
) STRICT;
CREATE INDEX entry_at ON entry(at);
CREATE INDEX entry_corrects ON entry(corrects) WHERE corrects IS NOT NULL;

CREATE TABLE house(
    seq INTEGER PRIMARY KEY,
    received REAL NOT NULL,
    document TEXT NOT NULL
) STRICT;
CREATE TABLE delivery(
    seq INTEGER PRIMARY KEY,
    row TEXT NOT NULL,
    person TEXT NOT NULL,
    at REAL NOT NULL,
    received REAL NOT NULL,
    sent INTEGER NOT NULL,
    tries INTEGER NOT NULL,
    reason TEXT NOT NULL
) STRICT;
CREATE TABLE impaired(
    seq INTEGER PRIMARY KEY,
    part TEXT NOT NULL,
    holds INTEGER NOT NULL,
    received REAL NOT NULL,
    reason TEXT NOT NULL
) STRICT;
CREATE TABLE batch_course(
    batch TEXT NOT NULL,
    place TEXT NOT NULL,
    at REAL NOT NULL,
    course_json TEXT NOT NULL,
    PRIMARY KEY (batch, place, at)
) STRICT, WITHOUT ROWID;

CREATE TABLE step(
    seq INTEGER PRIMARY KEY,
    link INTEGER NOT NULL UNIQUE,
    at REAL NOT NULL,
    subject TEXT NOT NULL,
    condition TEXT NOT NULL,
    step TEXT NOT NULL,
    urgency TEXT NOT NULL,
    value REAL,
    planned REAL,
    text TEXT NOT NULL,
    who TEXT,
    hash BLOB NOT NULL
) STRICT;
CREATE INDEX step_at ON step(at);
CREATE INDEX step_alarm ON step(subject, condition, seq);
CREATE TABLE message(
    seq INTEGER PRIMARY KEY,
    id TEXT NOT NULL UNIQUE,
    at REAL NOT NULL,
    step TEXT NOT NULL,
    role TEXT NOT NULL,
    person TEXT NOT NULL,
    urgency TEXT NOT NULL,
    title TEXT NOT NULL,
    body TEXT NOT NULL,
    alarms TEXT NOT NULL,
    rung INTEGER NOT NULL,
    language TEXT NOT NULL
) STRICT;
CREATE INDEX message_at ON message(at);

CREATE TABLE outbox(
    id TEXT PRIMARY KEY REFERENCES message(id),
    person TEXT NOT NULL,
    due REAL NOT NULL,
    tries INTEGER NOT NULL DEFAULT 0,
    claimed REAL,
    doubtful INTEGER NOT NULL DEFAULT 0,
    withdrawn INTEGER NOT NULL DEFAULT 0
) STRICT, WITHOUT ROWID;
CREATE INDEX outbox_person ON outbox(person, due);
CREATE TABLE outbox_alarm(
    alarm TEXT NOT NULL,
    id TEXT NOT NULL REFERENCES outbox(id) ON DELETE CASCADE,
    PRIMARY KEY (alarm, id)
) STRICT, WITHOUT ROWID;
CREATE INDEX outbox_alarm_row ON outbox_alarm(id);
CREATE TABLE outbox_service(
    id TEXT NOT NULL REFERENCES outbox(id) ON DELETE CASCADE,
    service TEXT NOT NULL,
    at REAL NOT NULL,
    PRIMARY KEY (id, service)
) STRICT, WITHOUT ROWID;
CREATE TABLE outbox_done(
    id TEXT PRIMARY KEY REFERENCES message(id),
    person TEXT NOT NULL,
    at REAL NOT NULL,
    outcome TEXT NOT NULL CHECK (outcome IN ('sent', 'failed', 'withdrawn')),
    tries INTEGER NOT NULL,
    reason TEXT NOT NULL,
    reported INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
CREATE INDEX outbox_unreported ON outbox_done(at) WHERE NOT reported;
CREATE TABLE attempt(
    number INTEGER PRIMARY KEY,
    id TEXT NOT NULL REFERENCES message(id),
    at REAL NOT NULL,
    service TEXT NOT NULL,
    outcome TEXT NOT NULL CHECK (outcome IN ('sent', 'failed', 'unknown')),
    reason TEXT NOT NULL
) STRICT;
CREATE INDEX attempt_message ON attempt(id);

CREATE TABLE checkpoint(
    one INTEGER PRIMARY KEY CHECK (one = 1),
    seq INTEGER NOT NULL,
    version TEXT NOT NULL,
    blob BLOB NOT NULL
) STRICT;
CREATE TABLE forwarded(name TEXT PRIMARY KEY, seq INTEGER NOT NULL) STRICT, WITHOUT ROWID;
"""

_SET_ASIDE = """
CREATE TABLE set_aside(
    receiver TEXT NOT NULL,
    seq INTEGER NOT NULL,
    point TEXT NOT NULL,
    reason TEXT NOT NULL,
    PRIMARY KEY (receiver, seq)
) STRICT, WITHOUT ROWID;
"""

_SUMMARY = """
CREATE TABLE summary(
    number INTEGER PRIMARY KEY,
    probe INTEGER NOT NULL REFERENCES probe(number),
    grain INTEGER NOT NULL,
    start INTEGER NOT NULL,
    readings INTEGER NOT NULL,
    points BLOB NOT NULL
) STRICT;
CREATE UNIQUE INDEX summary_moment ON summary(probe, grain, start);
ALTER TABLE state ADD COLUMN whole REAL;
"""

_OUTCOME = """
CREATE TABLE outcome(
    link INTEGER PRIMARY KEY,
    seq INTEGER NOT NULL,
    subject TEXT NOT NULL,
    id TEXT NOT NULL,
    fate TEXT NOT NULL,
    at REAL NOT NULL,
    cause_subject TEXT,
    cause TEXT,
    who TEXT,
    reason TEXT NOT NULL,
    body TEXT,
    hash BLOB NOT NULL
) STRICT;
CREATE INDEX outcome_entry ON outcome(subject, id, link);
CREATE INDEX outcome_seq ON outcome(seq);
"""

_ASKS = """
ALTER TABLE message ADD COLUMN asks TEXT NOT NULL DEFAULT '[]';
"""

_CLOCK = """
CREATE TABLE clock_step(
    seq INTEGER PRIMARY KEY,
    received REAL NOT NULL,
    by REAL NOT NULL,
    ahead REAL NOT NULL,
    since REAL NOT NULL,
    watched INTEGER NOT NULL
) STRICT;
"""

MIGRATIONS: tuple[tuple[str, str], ...] = (
    ("the first tables", _FIRST),
    ("points that the long history refused", _SET_ASIDE),
    ("rings that a message asks about", _ASKS),
    ("summaries of old readings", _SUMMARY),
    ("steps of the wall clock", _CLOCK),
    ("what became of each entry", _OUTCOME),
)
"""Name and SQL of each migration, oldest first; never changed once released, only added to."""
FILLED: dict[int, Callable[[sqlite3.Connection], None]] = {6: outcome_migration.take_up}
"""What is worked out from the rows that are there, by the number of the migration."""


class Foreign(Exception):
    """The file is a sound database, but not a journal that this kuraban can use."""


def migrate(db: sqlite3.Connection) -> int:
    """Bring `db` to the newest schema; the number of migrations that were still to do.

    Raises Foreign for the file of another program or of a newer kuraban, sqlite3.Error where it
    cannot be read or written. Takes the write lock even if nothing is to do, so that a journal
    that cannot be written is found out here and not at the first reading.
    """
    with transaction(db):
        done = _version(db)
    for number, (name, script) in enumerate(MIGRATIONS[done:], start=done + 1):
        with transaction(db):
            if _version(db) < number:
                _apply(db, number, name, script)
    return len(MIGRATIONS) - done


def _apply(db: sqlite3.Connection, number: int, name: str, script: str) -> None:
    for statement in _statements(script):
        db.execute(statement)
    if number in FILLED:
        FILLED[number](db)
    db.execute("INSERT INTO migration(version, name) VALUES (?, ?)", (number, name))
    db.execute(f"PRAGMA application_id = {APPLICATION}")
    db.execute(f"PRAGMA user_version = {number}")


def _version(db: sqlite3.Connection) -> int:
    application = int(db.execute("PRAGMA application_id").fetchone()[0])
    version = int(db.execute("PRAGMA user_version").fetchone()[0])
    tables = int(db.execute("SELECT count(*) FROM sqlite_schema").fetchone()[0])
    if application != APPLICATION and (application or version or tables):
        raise Foreign("is the database of another program; choose another data folder")
    if version > len(MIGRATIONS):
        raise Foreign(
            f"was written by a newer kuraban (schema {version}, this one knows {len(MIGRATIONS)});"
            " run that version, or choose another data folder"
        )
    return version


def _statements(script: str) -> Iterator[str]:
    statement = ""
    for line in script.splitlines(keepends=True):
        statement += line
        if sqlite3.complete_statement(statement):
            yield statement
            statement = ""
