"""A journal that is older than outcomes is read, and taken up, with them."""

from __future__ import annotations

import sqlite3
from collections import Counter
from contextlib import closing
from pathlib import Path

import pytest

from kuraban.store.connection import connect
from kuraban.store.history import History
from kuraban.store.journal import Journal
from kuraban.store.outcome_migration import worked_out
from tests.store.stored import stored, unpack

ALWAYS = (0.0, 2e9)
OLDER = [path for path in stored() if int(path.name.split("-")[1].split(".")[0]) < 6]

pytestmark = pytest.mark.parametrize("packed", OLDER, ids=lambda path: path.name)


def fates(path: Path) -> dict[str, str | None]:
    with closing(History(path)) as history:
        return {
            told.logged.id: None if told.outcome is None else told.outcome.fate
            for told in history.told(None, *ALWAYS)
        }


def test_every_entry_has_its_outcome_before_and_after(packed: Path, path: Path) -> None:
    """Between the upgrade and the restart of the watch whoever reads works it out for himself."""
    unpack(packed, path)
    before = fates(path)
    with closing(sqlite3.connect(path)) as db:
        assert not db.execute("SELECT 1 FROM sqlite_schema WHERE name = 'outcome'").fetchall()
    Journal.open(path).close()
    after = fates(path)
    assert before == after and None not in after.values()
    assert Counter(after.values())["counted"] > 5


def test_what_was_refused_has_its_reason(packed: Path, path: Path) -> None:
    """As the watch of that time told it, whatever the house is by now.

    What junk has pushed out of its memory since is worked out: here a stage that no course has.
    """
    unpack(packed, path)
    with closing(History(path)) as history:
        told = {one.logged.id: one.outcome for one in history.told(None, *ALWAYS)}
        known = {one.head: one.reason for one in history.refusals(None) if one.head in told}
    refused = {entry: one.reason for entry, one in told.items() if one and one.fate == "refused"}
    assert known and known.keys() <= refused.keys()
    assert all(known[entry].endswith(f": {refused[entry]}") for entry in known)
    forgotten = refused.keys() - known.keys()
    assert len(forgotten) == 2
    assert all("has no stage 'nowhere'" in refused[entry] for entry in forgotten)


def test_they_are_links_of_the_chain_behind_all_that_was(packed: Path, path: Path) -> None:
    """From then on nobody alters them unseen."""
    unpack(packed, path)
    with closing(sqlite3.connect(path)) as db:
        links, seq = db.execute("SELECT links, seq FROM state").fetchone()
    journal = Journal.open(path)
    assert journal.verify() == []
    journal.close()
    with closing(sqlite3.connect(path)) as db:
        rows = db.execute("SELECT link, seq FROM outcome ORDER BY link").fetchall()
        assert [link for link, _ in rows] == list(range(links + 1, links + 1 + len(rows)))
        assert [number for _, number in rows] == sorted(number for _, number in rows)
        assert rows[-1][1] <= seq
        db.execute("UPDATE outcome SET fate = 'counted' WHERE fate = 'refused'")
        db.commit()
    journal = Journal.open(path)
    assert any("no longer says what was written then" in one.wrong for one in journal.verify())
    journal.close()


def test_a_second_start_works_nothing_out_again(packed: Path, path: Path) -> None:
    unpack(packed, path)
    Journal.open(path).close()
    with closing(sqlite3.connect(path)) as db:
        before = db.execute("SELECT * FROM outcome").fetchall()
    Journal.open(path).close()
    with closing(sqlite3.connect(path)) as db:
        assert db.execute("SELECT * FROM outcome").fetchall() == before


def test_who_reads_still_cannot_write(packed: Path, path: Path) -> None:
    unpack(packed, path)
    before = path.read_bytes()
    with closing(History(path)) as history:
        assert history.last_outcome() > 0
    assert path.read_bytes() == before


def test_a_row_that_nobody_can_read_stops_nothing(packed: Path, path: Path) -> None:
    unpack(packed, path)
    with closing(sqlite3.connect(path)) as db:
        db.execute("UPDATE entry SET body = '{}' WHERE id = 'wall-0002'")
        db.commit()
    with closing(connect(path, "ro")) as db:
        known = {outcome.id for _, outcome in worked_out(db)}
    assert "wall-0001" in known and "wall-0002" not in known
