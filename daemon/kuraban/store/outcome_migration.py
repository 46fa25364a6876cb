"""A journal older than outcomes gets them when it is taken up, once; whoever reads it before that
works them out for itself."""

from __future__ import annotations

import heapq
import sqlite3
from collections.abc import Iterator
from operator import itemgetter

from kuraban.core.facts import ClockStepped, EntryOutcome, HouseChanged, Logged
from kuraban.core.fates.past_outcomes import past_outcomes
from kuraban.store import rows
from kuraban.store.writer import Writer

_TEMPORARY = """
CREATE TEMP TABLE outcome(
    link INTEGER PRIMARY KEY, seq INTEGER, subject TEXT, id TEXT, fate TEXT, at REAL,
    cause_subject TEXT, cause TEXT, who TEXT, reason TEXT, body TEXT
)
"""


def take_up(db: sqlite3.Connection) -> None:
    """Write what became of every entry that is there, as links of the chain."""
    writer = Writer(db, {})
    for seq, outcome in worked_out(db):
        writer.outcome(seq, outcome)
    writer.keep_links()


def beside(db: sqlite3.Connection) -> None:
    """The same for a reader's own use, in a table that goes with the connection."""
    db.execute("PRAGMA query_only = OFF")
    db.execute(_TEMPORARY)
    db.executemany(
        f"INSERT INTO temp.outcome(seq, {rows.OUTCOME}) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        [rows.outcome_row(seq, outcome) for seq, outcome in worked_out(db)],
    )
    db.execute("CREATE INDEX temp.outcome_entry ON outcome(subject, id, link)")
    db.execute("PRAGMA query_only = ON")


def worked_out(db: sqlite3.Connection) -> Iterator[tuple[int, EntryOutcome]]:
    """The outcomes of a journal that has none, each with its number."""
    entries = rows.readable(
        lambda row: (int(row[0]), rows.to_logged(row[1:])),
        db.execute(f"SELECT seq, {rows.ENTRY} FROM entry ORDER BY seq"),
    )
    houses = db.execute("SELECT seq, received, document FROM house ORDER BY seq")
    told: Iterator[tuple[int, Logged | HouseChanged | ClockStepped]] = heapq.merge(
        entries,
        ((row[0], HouseChanged(*row[1:])) for row in houses),
        rows.clock_steps(db),
        key=itemgetter(0),
    )
    now = db.execute("SELECT now FROM state").fetchone()[0]
    yield from past_outcomes(told, _refused(db), now or 0.0)


def _refused(db: sqlite3.Connection) -> dict[tuple[str, str], str]:
    """Reasons by subject and id; such a refusal was told as one of a message, with the id as what
    it began with, and the entry's kind before the reason."""
    select = "SELECT topic, head, reason FROM refusal WHERE topic LIKE 'log/%' ORDER BY seq"
    return {
        (topic.removeprefix("log/"), head): reason.partition(": ")[2]
        for topic, head, reason in db.execute(select)
    }
