"""The journal is copied while the watch writes, and a copy takes its place again."""

from __future__ import annotations

import sqlite3
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC
from pathlib import Path

import pytest

from kuraban.errors import JournalError
from kuraban.store.history import History
from kuraban.store.journal import Journal
from kuraban.store.upkeep import backup as backups
from kuraban.store.upkeep.backup import back_up, restore, thin
from tests.store.nights import EVENING, logged, reading, step, turn

NOW = EVENING + 86400


@pytest.fixture
def to(tmp_path: Path) -> Path:
    folder = tmp_path / "stick"
    folder.mkdir()
    return folder / "kuraban.journal"


def filled(journal: Journal, hours: int, begin: int = 0) -> None:
    for hour in range(begin, begin + hours):
        readings = [reading(60.0 * hour + 0.1 * number) for number in range(600)]
        entry = logged(f"e{hour}", minute=60.0 * hour)
        journal.commit(turn(60.0 * hour, *readings, entry, step("raised", 60.0 * hour)))


def told(path: Path) -> tuple[list[object], list[object], list[object]]:
    """Every entry, alarm step and reading that a journal holds."""
    history = History(path)
    found = (
        list(history.entries(None, 0, 1e12)),
        list(history.steps(0, 1e12)),
        list(history.readings("t3-mid", 0, 1e12)),
    )
    history.close()
    return found


@contextmanager
def watch_writing(path: Path, every: float = 0.001) -> Iterator[list[float]]:
    """A watch that writes a turn again and again; how long each of them took, in seconds."""
    took: list[float] = []
    stop = threading.Event()

    def write() -> None:
        journal, hour = Journal.open(path), 10_000
        while not stop.is_set():
            began = time.perf_counter()
            filled(journal, 1, hour)
            took.append(time.perf_counter() - began)
            hour += 1
            stop.wait(every)
        journal.close()

    thread = threading.Thread(target=write)
    thread.start()
    try:
        while not took:
            time.sleep(0.001)
        yield took
    finally:
        stop.set()
        thread.join()


def test_a_backup_under_a_writing_watch_is_the_journal_of_one_moment(
    path: Path, to: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It ends although the watch never stops writing; restored, it holds the same entries, steps
    and readings up to its moment, and its chain is whole."""
    monkeypatch.setattr(backups, "PAGES", 20)
    monkeypatch.setattr(backups, "BREATH", 0.001)
    journal = Journal.open(path)
    filled(journal, 100)
    journal.close()
    with watch_writing(path) as took:
        before = len(took)
        sound = back_up(path, to, UTC)
        during = len(took) - before
    assert sound.faults == () and sound.readings >= 60_000
    assert during > 3, "the watch wrote while the backup was made"
    whole = told(path)
    kept = told(to)
    assert all(part == every[: len(part)] for part, every in zip(kept, whole, strict=True))
    assert [len(part) for part in kept] == [sound.entries, sound.steps, sound.readings]

    again, aside = restore(to, path, NOW, UTC)
    assert again == sound and told(path) == kept
    assert aside is not None and told(aside) == whole
    journal = Journal.open(path)
    assert journal.verify() == []
    filled(journal, 1, 20_000)
    assert journal.verify() == []
    journal.close()


def test_no_file_is_overwritten(path: Path, to: Path) -> None:
    Journal.open(path).close()
    to.write_text("the holiday pictures")
    with pytest.raises(JournalError, match="nothing is overwritten"):
        back_up(path, to, UTC)
    assert to.read_text() == "the holiday pictures"
    assert [*to.parent.iterdir()] == [to]


def test_a_backup_is_one_file_that_its_owner_alone_may_read(path: Path, to: Path) -> None:
    """Who drank what and when is nobody else's matter; nothing half-made stays beside it."""
    Journal.open(path).close()
    back_up(path, to, UTC)
    assert [*to.parent.iterdir()] == [to]
    assert to.stat().st_mode & 0o077 == 0


def test_a_backup_of_a_faulty_journal_is_kept_and_says_so(path: Path, to: Path) -> None:
    """It may be all that is left; it does not take the place of a sound one."""
    journal = Journal.open(path)
    filled(journal, 3)
    journal.close()
    with sqlite3.connect(path) as db:
        db.execute("UPDATE entry SET who = 'ken' WHERE id = 'e1'")
    db.close()
    with pytest.raises(JournalError, match="entry e1 of tank-3"):
        back_up(path, to, UTC)
    assert not to.exists()
    assert [one.name for one in to.parent.iterdir()] == ["kuraban.journal.faulty"]


def test_nothing_is_restored_while_a_watch_has_the_journal(path: Path, to: Path) -> None:
    """Neither while it writes nor while it rests."""
    journal = Journal.open(path)
    filled(journal, 2)
    back_up(path, to, UTC)
    before = told(path)
    with pytest.raises(JournalError, match="a watch has it open; stop it first"):
        restore(to, path, NOW, UTC)
    filled(journal, 1, 5)
    journal.close()
    assert told(path) != before
    assert not [*path.parent.glob("*before*"), *path.parent.glob(".*")]


def test_what_is_restored_was_looked_through(path: Path, to: Path) -> None:
    """A faulty backup changes nothing."""
    journal = Journal.open(path)
    filled(journal, 2)
    journal.close()
    back_up(path, to, UTC)
    with sqlite3.connect(to) as db:
        db.execute("DELETE FROM step WHERE link = 2")
    db.close()
    before = path.read_bytes()
    with pytest.raises(JournalError, match="nothing was restored"):
        restore(to, path, NOW, UTC)
    assert path.read_bytes() == before


def test_the_old_journal_stays_beside_the_new_one_under_its_date(path: Path, to: Path) -> None:
    """A second time within the minute as well."""
    journal = Journal.open(path)
    filled(journal, 1)
    journal.close()
    back_up(path, to, UTC)
    names = [aside.name for _ in range(2) if (aside := restore(to, path, NOW, UTC)[1])]
    assert names == [
        "kuraban.journal.before-2026-02-01T2253", "kuraban.journal.before-2026-02-01T2253-2",
    ]  # fmt: skip


@pytest.mark.parametrize("damage", [b"no journal at all" * 500, b""])
def test_a_damaged_or_missing_journal_is_replaced(path: Path, to: Path, damage: bytes) -> None:
    journal = Journal.open(path)
    filled(journal, 1)
    journal.close()
    back_up(path, to, UTC)
    if damage:
        path.write_bytes(damage)
    else:
        path.unlink()
    sound, aside = restore(to, path, NOW, UTC)
    assert sound.entries == 1 and len(told(path)[0]) == 1
    assert (aside is not None) == bool(damage)


def test_another_programs_file_is_no_backup(path: Path, to: Path) -> None:
    with sqlite3.connect(to) as db:
        db.execute("CREATE TABLE song(title)")
    db.close()
    with pytest.raises(JournalError):
        restore(to, path, NOW, UTC)
    assert not path.exists()


def test_old_backups_go_and_the_newest_stay(tmp_path: Path) -> None:
    for day in range(1, 6):
        (tmp_path / f"kuraban-2026-02-0{day}T0330.journal").touch()
    (tmp_path / "notes").touch()
    gone = thin(tmp_path, "kuraban-[0-9]*.journal", 3)
    assert [one.name[8:18] for one in gone] == ["2026-02-01", "2026-02-02"]
    assert len([*tmp_path.iterdir()]) == 4
    assert thin(tmp_path, "kuraban-[0-9]*.journal", 9) == []


def test_how_far_the_copy_is_can_be_seen(path: Path, to: Path) -> None:
    journal = Journal.open(path)
    filled(journal, 60)
    journal.close()
    shares: list[float] = []

    def passed(what: str, share: float | None) -> None:
        if what == "copying":
            shares.append(share or 0.0)

    back_up(path, to, UTC, passed)
    assert shares == sorted(shares) and shares[-1] == 1.0
