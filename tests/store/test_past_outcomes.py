"""A journal from before outcomes were written gets them, once, as links of its chain."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from kuraban.store.history import History
from kuraban.store.journal import Journal
from tests.store.stored import stored, unpack

OLD = [path for path in stored() if path.name < "schema-5"]


def fates(path: Path) -> dict[tuple[str, str], str | None]:
    history = History(path)
    try:
        told = list(history.told(None, 0.0, float("inf")))
        return {t.logged.key: None if t.outcome is None else t.outcome.fate for t in told}
    finally:
        history.close()


@pytest.mark.parametrize("packed", OLD, ids=lambda path: path.name)
def test_whoever_reads_it_before_finds_what_the_watch_writes(packed: Path, tmp_path: Path) -> None:
    """A command that only looks works them out for itself, and leaves the file as it is."""
    path = unpack(packed, tmp_path / "kuraban.journal")
    before = fates(path)
    assert before and all(before.values()), "every entry has a fate"
    with closing(sqlite3.connect(path)) as db:
        tables = db.execute("SELECT count(*) FROM sqlite_schema WHERE name = 'outcome'").fetchone()
    assert tables == (0,)
    Journal.open(path).close()
    assert fates(path) == before


@pytest.mark.parametrize("packed", OLD, ids=lambda path: path.name)
def test_taking_it_up_again_adds_nothing(packed: Path, tmp_path: Path) -> None:
    path = unpack(packed, tmp_path / "kuraban.journal")
    counts = []
    for _ in range(2):
        journal = Journal.open(path)
        assert journal.verify() == []
        journal.close()
        with closing(sqlite3.connect(path)) as db:
            counts.append(db.execute("SELECT count(*) FROM outcome").fetchone())
    assert counts[0] == counts[1] and counts[0][0] > 0
