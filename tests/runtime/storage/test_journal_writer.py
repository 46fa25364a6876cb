from __future__ import annotations

import sqlite3
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from kuraban.core.facts import Reading
from kuraban.runtime.storage import journal_writer as module
from kuraban.runtime.storage.journal_writer import JournalWriter
from kuraban.store.journal import Journal
from tests.store.nights import EVENING, page, reading, step, turn


@pytest.fixture
def journal_writer(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[JournalWriter]:
    """A pen that tries again at once."""
    monkeypatch.setattr(module, "FIRST_PAUSE", 0.0)
    journal_writer = JournalWriter(Journal.open(tmp_path / "kuraban.journal"))
    yield journal_writer
    journal_writer.close()


def fill(journal_writer: JournalWriter) -> None:
    """The journal may not grow any more, as on a full disk."""
    (pages,) = journal_writer.journal._db.execute("PRAGMA page_count").fetchone()
    journal_writer.journal._db.execute(f"PRAGMA max_page_count = {pages}")


def free(journal_writer: JournalWriter) -> None:
    journal_writer.journal._db.execute("PRAGMA max_page_count = 1073741823")


def many(minute: int) -> list[Reading]:
    return [reading(minute + n / 1000) for n in range(500)]


def test_what_a_full_disk_kept_out_is_written_once_it_is_freed(
    journal_writer: JournalWriter,
) -> None:
    """Turns are held in their order and go in together; nothing is lost, nothing is doubled."""
    assert journal_writer.write(turn(0, reading(0)))
    fill(journal_writer)
    assert not journal_writer.write(turn(1, *many(1), step("raised", 1), page("m1", 1)))
    assert "full" in journal_writer.failing
    assert not journal_writer.write(turn(2, *many(2)))
    free(journal_writer)
    assert journal_writer.write(turn(3, reading(3)))
    assert journal_writer.failing == ""
    assert list(journal_writer.journal.facts_after()) == [
        reading(0),
        *many(1),
        *many(2),
        reading(3),
    ]
    assert journal_writer.journal.now() == EVENING + 180
    assert journal_writer.journal.verify() == []


def test_a_failing_disk_is_not_pestered(
    journal_writer: JournalWriter, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Between two tries there is a pause, and it grows."""
    monkeypatch.setattr(module, "FIRST_PAUSE", 0.0)
    journal_writer._pause = 0.2
    fill(journal_writer)
    assert not journal_writer.write(turn(1, *many(1)))
    free(journal_writer)
    assert not journal_writer.write(turn(2))
    time.sleep(0.25)
    assert journal_writer.write(turn(3))
    assert journal_writer._pause == 0.4


def test_memory_is_bounded(journal_writer: JournalWriter, monkeypatch: pytest.MonkeyPatch) -> None:
    """If the disk stays full for days the oldest readings go; steps and entries never do."""
    monkeypatch.setattr(module, "MOST_HELD", 1200)
    fill(journal_writer)
    for minute in range(1, 5):
        journal_writer.write(turn(minute, *many(minute), step("raised", minute)))
    free(journal_writer)
    assert journal_writer.write(turn(9))
    facts = list(journal_writer.journal.facts_after())
    assert 500 <= len(facts) <= 1200
    assert facts[-500:] == many(4)
    assert journal_writer.given_up == 2000 - len(facts)
    (steps,) = journal_writer.journal._db.execute("SELECT count(*) FROM step").fetchone()
    assert steps == 4


def test_a_journal_damaged_in_the_night_is_set_aside(
    journal_writer: JournalWriter, tmp_path: Path
) -> None:
    """The watch goes on in a new one, and what it holds in memory is the first that it writes."""
    assert journal_writer.write(turn(0, reading(0)))
    journal_writer.journal._db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    with (tmp_path / "kuraban.journal").open("r+b") as file:
        file.write(b"scratched" * 500)
    journal_writer.journal._db.execute("PRAGMA cache_size = 0")
    assert not journal_writer.write(turn(1, reading(1), step("raised", 1)))
    assert journal_writer.write(turn(2, reading(2)))
    assert journal_writer.renewed
    assert list(journal_writer.journal.facts_after()) == [reading(1), reading(2)]
    assert (tmp_path / "kuraban.journal.damaged-1").exists()


def test_a_fault_of_ours_holds_the_turn_and_stops_nothing(journal_writer: JournalWriter) -> None:
    """What cannot be written for any reason is kept, and the watch is told that it was not."""
    assert not journal_writer.write(turn(1, Reading("t3-mid", EVENING, 10**400, EVENING)))
    assert journal_writer.failing
    assert sqlite3.connect(journal_writer.journal.path).execute(
        "SELECT count(*) FROM reading"
    ).fetchone() == (0,)
