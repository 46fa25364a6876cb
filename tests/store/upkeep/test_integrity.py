"""A journal is looked through: what was altered, what is damaged, and what is lost by it."""

from __future__ import annotations

import sqlite3
from datetime import UTC
from pathlib import Path

import pytest

from kuraban.core.units import show_time
from kuraban.errors import JournalError
from kuraban.store.journal import Journal
from kuraban.store.upkeep.integrity import Sound, inspect
from tests.store.nights import EVENING, logged, reading, step, turn

HOURS = 150


@pytest.fixture
def season(path: Path) -> Path:
    """A closed journal: in each of 150 hours one entry, one step and forty readings."""
    journal = Journal.open(path)
    for hour in range(HOURS):
        minute = 60.0 * hour
        readings = [reading(minute + 0.5 * number) for number in range(40)]
        entry = logged(f"e{hour}", minute=minute)
        journal.commit(turn(minute, *readings, entry, step("raised", minute)))
    journal.close()
    return path


def looked(path: Path) -> Sound:
    return inspect(path, UTC)


def pages_of(path: Path, table: str) -> tuple[int, list[int]]:
    """The size of a page, and the numbers of those that hold a table's rows."""
    with sqlite3.connect(path) as db:
        (size,) = db.execute("PRAGMA page_size").fetchone()
        (root,) = db.execute(
            "SELECT rootpage FROM sqlite_schema WHERE name = ?", (table,)
        ).fetchone()
    db.close()
    return size, _leaves(path.read_bytes(), size, root)


def _leaves(raw: bytes, size: int, page: int) -> list[int]:
    """The pages of rows below a page of a table's tree (SQLite file format, 1.6)."""
    start = (page - 1) * size
    if raw[start] == 13:
        return [page]
    assert raw[start] == 5, "an interior page of a table"
    cells = int.from_bytes(raw[start + 3 : start + 5])
    pointers = [start + 12 + 2 * number for number in range(cells)]
    cell_at = [start + int.from_bytes(raw[at : at + 2]) for at in pointers]
    below = [int.from_bytes(raw[at : at + 4]) for at in (*cell_at, start + 8)]
    return [leaf for one in below for leaf in _leaves(raw, size, one)]


def blot(path: Path, size: int, page: int) -> None:
    """As a failing memory card does: the page holds something else now."""
    with path.open("r+b") as file:
        file.seek((page - 1) * size)
        file.write(b"\xa5" * size)


def test_a_sound_journal_says_what_it_holds(season: Path) -> None:
    found = looked(season)
    assert found.faults == ()
    assert (found.entries, found.steps, found.readings) == (HOURS, HOURS, 6000)
    assert found.first == EVENING
    assert found.last == EVENING + 60 * (60 * (HOURS - 1) + 19.5)
    assert len(found.head) == 64


def test_a_journal_that_is_being_written_is_looked_through_as_well(kept: Journal) -> None:
    """Nobody has to stop the watch for it, and it writes on afterwards."""
    kept.commit(turn(0, reading(0), logged("e0")))
    assert looked(kept.path).faults == ()
    kept.commit(turn(1, reading(1), logged("e1", minute=1)))
    assert looked(kept.path).entries == 2


def test_an_entry_changed_with_an_editor_is_named(season: Path) -> None:
    with sqlite3.connect(season) as db:
        db.execute("UPDATE entry SET who = 'ken' WHERE id = 'e7'")
    db.close()
    (fault,) = looked(season).faults
    assert "entry e7 of tank-3" in fault.wrong


def test_entries_that_were_removed_are_missed_from_when_to_when(season: Path) -> None:
    with sqlite3.connect(season) as db:
        db.execute("DELETE FROM entry WHERE id IN ('e7')")
        db.execute("DELETE FROM step WHERE link = 16")
    db.close()
    (fault,) = looked(season).faults
    assert fault.key == "links 15 to 16" and "2 rows are missing, written after" in fault.wrong


@pytest.mark.parametrize(("table", "named"), [("reading", "readings"), ("entry", "entries")])
def test_a_damaged_page_says_which_rows_it_took(season: Path, table: str, named: str) -> None:
    """From when to when they are lost; what lies before and after is there."""
    size, pages = pages_of(season, table)
    with sqlite3.connect(season) as db:
        rows = db.execute(f"SELECT seq, at FROM {table} ORDER BY seq").fetchall()
    db.close()
    blot(season, size, pages[1])
    there = [_there(season, table, seq) for seq, _ in rows]
    first, last = there.index(False), len(there) - 1 - there[::-1].index(False)
    assert last - first > 5 and not any(there[first : last + 1])
    (lost,) = [fault for fault in looked(season).faults if fault.key == named]
    after, before = (show_time(rows[number][1], UTC) for number in (first - 1, last + 1))
    assert f"those after {after} and before {before}" in lost.wrong


def _there(path: Path, table: str, seq: int) -> bool:
    db = sqlite3.connect(path)
    try:
        select = f"SELECT * FROM {table} NOT INDEXED WHERE seq = ?"
        return db.execute(select, (seq,)).fetchone() is not None
    except sqlite3.DatabaseError:
        return False
    finally:
        db.close()


def test_the_last_rows_lost_have_no_end(season: Path) -> None:
    """After the last row nothing can say how much there was."""
    size, _ = pages_of(season, "reading")
    with sqlite3.connect(season) as db:
        (root,) = db.execute("SELECT rootpage FROM sqlite_schema WHERE name = 'reading'").fetchone()
    db.close()
    raw = season.read_bytes()
    last = int.from_bytes(raw[(root - 1) * size + 8 : (root - 1) * size + 12])
    blot(season, size, last)
    (lost,) = [fault for fault in looked(season).faults if fault.key == "readings"]
    assert "those after " in lost.wrong and "before" not in lost.wrong


def test_a_journal_that_is_no_database_any_more_is_told(season: Path) -> None:
    season.write_bytes(b"\0" * 8192)
    (fault,) = looked(season).faults
    assert "everything in it is lost" in fault.wrong and "restore" in fault.right


def test_a_journal_that_lost_its_end_is_told(season: Path) -> None:
    """Cut off in the middle, as after a power cut on a disk that lied."""
    raw = season.read_bytes()
    season.write_bytes(raw[: len(raw) // 8192 * 4096])
    assert looked(season).faults


def test_where_there_is_no_journal_nothing_is_made(tmp_path: Path) -> None:
    with pytest.raises(JournalError, match="there is no journal"):
        looked(tmp_path / "none.journal")
    assert not [*tmp_path.iterdir()]


def test_long_work_says_how_far_it_is(season: Path) -> None:
    told: list[tuple[str, float | None]] = []
    inspect(season, UTC, lambda what, share: told.append((what, share)))
    read = "facts, as the watch would read them"
    assert [what for what, _ in told] == ["pages", "entries and alarm steps", read]


def test_a_changed_reading_is_not_found(season: Path) -> None:
    """Readings are no links of the chain, and nobody is told otherwise."""
    with sqlite3.connect(season) as db:
        db.execute("UPDATE reading SET value = 9.0 WHERE seq = 3")
    db.close()
    assert looked(season).faults == ()


def test_a_fact_that_the_watch_cannot_take_up_is_named(season: Path) -> None:
    """A row that the chain says nothing about, such as one that was wrong from the beginning."""
    assert looked(season).faults == ()
    with sqlite3.connect(season) as db:
        db.execute("UPDATE house SET document = '{'")
        db.execute("INSERT INTO house VALUES (999999, 0, '{')")
        body = '{"entry":"aim","celsius":9.5,"by":9e11}'
        db.execute("UPDATE entry SET body = ? WHERE id = 'e7'", (body,))
    db.close()
    altered, *unread = looked(season).faults
    assert altered.key.startswith("link ")
    assert [fault.key for fault in unread][-1] == "fact 999999"
    assert "entry e7 of tank-3" in unread[0].wrong and "leaves it out" in unread[0].right
