"""A journal that an earlier version left is taken up by this one, with nothing lost."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from kuraban.store.history import History
from kuraban.store.journal import Journal
from kuraban.store.schema import MIGRATIONS
from tests.store.stored import stored, unpack

LINKED = ("entry", "outcome", "step")
Held = dict[str, list[dict[str, Any]]]

pytestmark = pytest.mark.parametrize("packed", stored(), ids=lambda path: path.name)


def held(path: Path) -> Held:
    """Every row of every table, by the names of its columns."""
    with closing(sqlite3.connect(f"{path.as_uri()}?mode=ro", uri=True)) as db:
        db.row_factory = sqlite3.Row
        tables = [
            row[0]
            for row in db.execute("SELECT name FROM sqlite_schema WHERE type = 'table'").fetchall()
        ]
        return {
            table: [dict(row) for row in db.execute(f"SELECT * FROM {table} ORDER BY 1")]
            for table in tables
        }


def test_nothing_is_lost_and_the_chain_holds(packed: Path, path: Path) -> None:
    """Every row of every table has what it had, and every entry and step is its own link."""
    before = held(unpack(packed, path))
    assert all(before[table] for table in ("reading", "entry", "step", "message", "delivery"))
    journal = Journal.open(path)
    assert journal.verify() == []
    journal.close()
    after = held(path)
    del before["migration"]
    for chain in (before["state"][0], after["state"][0]):
        old = chain.pop("links"), chain.pop("head")
        links = {row["link"]: row["hash"] for table in LINKED for row in after[table]}
        assert links[old[0]] == old[1], "the chain goes on from where it ended"
    for table, rows in before.items():
        assert len(after[table]) == len(rows), table
        for old, new in zip(rows, after[table], strict=True):
            assert {name: new[name] for name in old} == old, table
    assert len(after["migration"]) == len(MIGRATIONS)


def test_it_is_read_before_and_after(packed: Path, path: Path) -> None:
    """By whoever only looks, also while it waits for the new watch to open it."""
    unpack(packed, path)
    history = History(path)
    assert history.whole_from() is None and history.shortened(["t3-mid"], 0, 2e9) == ()
    before = [list(history.readings("t3-mid", 0, 2e9)), list(history.entries(None, 0, 2e9))]
    history.close()
    journal = Journal.open(path)
    facts = list(journal.facts_after())
    journal.close()
    history = History(path)
    assert before == [
        list(history.readings("t3-mid", 0, 2e9)), list(history.entries(None, 0, 2e9)),
    ]  # fmt: skip
    assert len(before[0]) > 500 and len(facts) > 2000
    assert list(history.messages(0, 2e9)) and history.standing() is not None
    history.close()
