from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest

from kuraban.store.journal import Journal
from tests.store.nights import logged, step, turn


@pytest.fixture
def night(kept: Journal, path: Path) -> Journal:
    """Five hours of one entry and one step each: links 1 to 10, entries odd and steps even."""
    for hour in range(5):
        entry = logged(f"e{hour}", minute=60 * hour)
        kept.commit(turn(60 * hour, entry, step("raised", 60 * hour)))
    assert kept.verify() == []
    return kept


def behind_its_back(path: Path, statement: str) -> None:
    with sqlite3.connect(path) as db:
        db.execute(statement)
    db.close()


@pytest.mark.parametrize(
    ("statement", "link", "named"),
    [
        ('UPDATE entry SET body = \'{"entry":"note","text":"x"}\' WHERE id = \'e2\'', 5, "e2"),
        ("UPDATE entry SET who = NULL WHERE id = 'e1'", 3, "entry e1 of tank-3"),
        ("UPDATE step SET value = 10.2 WHERE link = 4", 4, "step raised of tank-3"),
        ("UPDATE step SET at = at + 1 WHERE link = 10", 10, "step raised of tank-3"),
    ],
)
def test_a_row_altered_behind_its_back_is_found(
    night: Journal, path: Path, statement: str, link: int, named: str
) -> None:
    """Exactly that row is named, with its time, and every other row still fits."""
    behind_its_back(path, statement)
    (fault,) = night.verify()
    assert fault.key == f"link {link}"
    assert named in fault.wrong and "no longer says" in fault.wrong


@pytest.mark.parametrize(
    ("statement", "key", "lost"),
    [
        ("DELETE FROM entry WHERE id = 'e0'", "link 1", "1 row is missing, written before"),
        ("DELETE FROM step WHERE link = 4", "link 4", "1 row is missing, written after"),
        ("DELETE FROM step WHERE link = 10", "link 10", "1 row is missing, written after"),
    ],
)
def test_a_row_that_was_removed_is_missed(
    night: Journal, path: Path, statement: str, key: str, lost: str
) -> None:
    """First, middle or last: the gap is named, and between which times it lies."""
    behind_its_back(path, statement)
    (fault,) = night.verify()
    assert (fault.key, lost in fault.wrong) == (key, True)


def test_a_whole_night_that_was_removed_is_missed(night: Journal, path: Path) -> None:
    """Many rows gone in one place are one fault that counts them."""
    behind_its_back(path, "DELETE FROM entry WHERE link > 4")
    behind_its_back(path, "DELETE FROM step WHERE link > 4")
    (fault,) = night.verify()
    assert fault.key == "links 5 to 10"
    assert "6 rows are missing, written after 2026-" in fault.wrong


def test_an_empty_chain_is_missed(night: Journal, path: Path) -> None:
    """Even with nothing left the journal knows how much there was."""
    for table in ("entry", "step"):
        behind_its_back(path, f"DELETE FROM {table}")
    assert [fault.key for fault in night.verify()] == ["links 1 to 10"]


def test_a_last_link_made_afresh_is_noticed(night: Journal, path: Path) -> None:
    """A row whose hash was altered with it still is not the one written last."""
    behind_its_back(path, "UPDATE state SET head = zeroblob(32)")
    assert [fault.wrong for fault in night.verify()] == ["is not the one written last"]
