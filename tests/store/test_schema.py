from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest

from kuraban.store import schema
from kuraban.store.connection import MEMORY, connect
from kuraban.store.journal import Journal
from tests.store.nights import reading, turn

SECOND = ("a place for the cat", "CREATE TABLE cat(name TEXT) STRICT;")


def test_an_empty_file_becomes_a_journal(path: Path) -> None:
    """Every migration leaves its own record, and the file says whose it is."""
    db = connect(path, "rwc")
    assert schema.migrate(db) == len(schema.MIGRATIONS)
    rows = db.execute("SELECT version, name FROM migration").fetchall()
    assert rows == [(n, name) for n, (name, _) in enumerate(schema.MIGRATIONS, start=1)]
    assert db.execute("PRAGMA application_id").fetchone() == (schema.APPLICATION,)
    assert db.execute("PRAGMA user_version").fetchone() == (len(schema.MIGRATIONS),)
    db.close()


def test_a_second_start_changes_nothing() -> None:
    """A journal that is up to date has nothing to do."""
    db = connect(MEMORY, "rwc")
    schema.migrate(db)
    before = db.execute("SELECT * FROM sqlite_schema").fetchall()
    assert schema.migrate(db) == 0
    assert db.execute("SELECT * FROM sqlite_schema").fetchall() == before
    db.close()


def test_an_older_journal_keeps_its_facts(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A newer watch adds what it needs to last winter's journal."""
    journal = Journal.open(path)
    journal.commit(turn(0, reading(0)))
    journal.close()
    monkeypatch.setattr(schema, "MIGRATIONS", (*schema.MIGRATIONS, SECOND))
    journal = Journal.open(path)
    assert list(journal.facts_after()) == [reading(0)]
    journal.close()


def test_half_a_migration_is_none(monkeypatch: pytest.MonkeyPatch) -> None:
    """One that fails in the middle leaves the journal as it was."""
    db = connect(MEMORY, "rwc")
    schema.migrate(db)
    broken = ("half", SECOND[1] + "\nCREATE TABLE reading(x);")
    monkeypatch.setattr(schema, "MIGRATIONS", (*schema.MIGRATIONS, broken))
    with pytest.raises(sqlite3.OperationalError, match="already exists"):
        schema.migrate(db)
    assert db.execute("SELECT name FROM sqlite_schema WHERE name = 'cat'").fetchall() == []
    assert db.execute("PRAGMA user_version").fetchone() == (len(schema.MIGRATIONS) - 1,)
    db.close()


def test_every_table_is_strict(kept: Journal, path: Path) -> None:
    """A text where a temperature belongs is refused by the file itself."""
    db = connect(path, "ro")
    loose = "SELECT name FROM pragma_table_list WHERE NOT strict AND name NOT LIKE 'sqlite%'"
    assert db.execute(loose).fetchall() == []
    db.close()


def test_what_was_committed_is_on_the_disk(kept: Journal, path: Path) -> None:
    """The settings that make a power cut harmless hold on every connection that writes."""
    db = connect(path, "rw")
    assert db.execute("PRAGMA journal_mode").fetchone() == ("wal",)
    assert db.execute("PRAGMA synchronous").fetchone() == (2,)
    assert db.execute("PRAGMA foreign_keys").fetchone() == (1,)
    db.close()
