"""`kuraban journal`: looked through, backed up and restored, as somebody types it."""

from __future__ import annotations

import pickle
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest

from kuraban.cli.journal import past_of
from kuraban.runtime import freeze, recover
from kuraban.runtime.checkpoint.document import version
from kuraban.settings.catalogues import load_words
from kuraban.store.archive import Archive, WholeHistory, archive_of
from kuraban.store.forwarded import Forwarded, SetAside
from kuraban.store.history import History
from kuraban.store.journal import Checkpoint, Journal
from tests.cli.conftest import Type
from tests.journals import live_through
from tests.kept import Evil


@pytest.fixture
def journal(site: Path) -> Path:
    """A third of a night in the journal of the invented brewery."""
    path = site.parent / "data" / "kuraban.journal"
    live_through("slow-drift", path, share=0.3)
    return path


def keep(journal: Path, written_by: str, blob: bytes | None = None) -> None:
    """Let a watch have kept its state in the journal."""
    held = Journal.open(journal)
    engine = recover(held, load_words())
    kept = freeze(engine)
    assert kept is not None
    held.commit(engine.drain(), Checkpoint(written_by, blob or bytes(kept.blob)))
    held.close()


def test_a_sound_journal_is_said_to_be_sound(site: Path, journal: Path, type_in: Type) -> None:
    """With what it holds, from when to when, and its last link."""
    shown = type_in("journal", "verify", "--site", site)
    assert shown.exit_code == 0, shown.output
    assert "sound" in shown.stdout and "readings, from 2026-02-" in shown.stdout
    assert "Its last link is " in shown.stdout


def test_what_the_checkpoint_holds_is_said(site: Path, journal: Path, type_in: Type) -> None:
    """Whose it is, and what stands in it; one of another version is no fault."""
    assert "It has no checkpoint" not in type_in("journal", "verify", "--site", site).stdout
    keep(journal, version())
    shown = type_in("journal", "verify", "--site", site)
    assert shown.exit_code == 0, shown.output
    assert "Its checkpoint of 2026-02-" in shown.stdout and "on the list (" in shown.stdout
    assert "The rest is this version's" in shown.stdout and "is taken up too" in shown.stdout
    keep(journal, "kuraban of last week")
    shown = type_in("journal", "verify", "--site", site)
    assert shown.exit_code == 0 and "is built anew from the facts" in shown.stdout
    keep(journal, "kuraban of last year", b"a form that nobody knows any more")
    shown = type_in("journal", "verify", "--site", site)
    assert shown.exit_code == 0 and "is of another version's form" in shown.stdout


def test_a_checkpoint_that_somebody_altered_is_found(
    site: Path, journal: Path, type_in: Type
) -> None:
    """It runs nothing, and a script sees the exit status."""
    keep(journal, version(), pickle.dumps(Evil(journal.parent / "made")))
    shown = type_in("journal", "verify", "--site", site)
    assert shown.exit_code == 1 and "is damaged or was altered" in shown.stdout
    assert not (journal.parent / "made").exists()


def test_an_altered_entry_is_found(site: Path, journal: Path, type_in: Type) -> None:
    """One line a fault, and the exit status says so to a script."""
    with sqlite3.connect(journal) as db:
        db.execute("UPDATE entry SET who = 'ken' WHERE link = 1")
    db.close()
    shown = type_in("journal", "verify", "--site", site)
    assert shown.exit_code == 1
    assert shown.stdout.count("\n") == 1 and "no longer says what was written" in shown.stdout


def test_without_a_journal_there_is_nothing_to_look_through(site: Path, type_in: Type) -> None:
    shown = type_in("journal", "verify", "--site", site)
    assert shown.exit_code == 3 and "there is no journal" in shown.stderr


def test_a_backup_is_restored(site: Path, journal: Path, type_in: Type, tmp_path: Path) -> None:
    """The entries since are gone from the journal, and lie in the old one beside it."""
    copy = tmp_path / "copy.journal"
    shown = type_in("journal", "backup", copy, "--site", site)
    assert shown.exit_code == 0 and "copy.journal: sound" in shown.stdout
    assert type_in("journal", "verify", copy, "--site", site).exit_code == 0
    with sqlite3.connect(journal) as db:
        db.execute("DELETE FROM entry")
    db.close()
    shown = type_in("journal", "restore", copy, "--site", site)
    assert shown.exit_code == 0, shown.stderr
    assert "is kept as" in shown.stdout and "kuraban.journal.before-20" in shown.stdout
    history = History(journal)
    assert [*history.entries(None, 0, 1e12)]
    history.close()
    assert type_in("journal", "backup", copy, "--site", site).exit_code == 3


def test_what_was_imported_goes_along(
    site: Path, journal: Path, type_in: Type, at: Callable[[float], None], tmp_path: Path
) -> None:
    """In a file of its own, looked through and restored like the journal; one that did not change
    is not written again night after night."""
    nightly = tmp_path / "nightly"
    nightly.mkdir()

    def backed_up(day: int) -> str:
        at(1_800_000_000.0 + day * 86400)
        words = ("journal", "backup", nightly, "--keep", "2", "--site", site)
        return str(type_in(*words).stdout)

    lay_in(journal, 7.0)
    backed_up(1)
    assert ".past: the same as kuraban-2027-01-16T" in backed_up(2)
    one, other = nightly.glob("*.past")
    assert one.samefile(other)
    lay_in(journal, 8.0)
    told = backed_up(3)
    assert "past: sound. 0 entries, 0 alarm steps, 2 readings" in told
    assert told.count(": removed") == 2
    newest = max(nightly.glob("*.journal"))
    archive_of(journal).write_bytes(b"lost")
    shown = type_in("journal", "restore", newest, "--site", site)
    assert shown.exit_code == 0 and "kuraban.past: restored. 0 entries" in shown.stdout
    with closing(WholeHistory(journal)) as history:
        assert [value for _, value in history.readings("t2-mid", 0.0, 100.0)] == [7.0, 8.0]
    with sqlite3.connect(past_of(newest)) as db:
        db.execute("CREATE TRIGGER t AFTER INSERT ON entry BEGIN SELECT 1; END")
    db.close()
    shown = type_in("journal", "restore", newest, "--site", site)
    assert shown.exit_code == 3 and "would run by itself" in shown.stderr


def lay_in(journal: Path, value: float) -> None:
    """A reading from before the watch, the value its time."""
    with closing(Archive(journal)) as archive, archive.begin():
        archive.readings([("t2-mid", value, value)])


def test_a_watch_is_not_restored_over(site: Path, journal: Path, type_in: Type) -> None:
    copy = site.parent / "copy.journal"
    type_in("journal", "backup", copy, "--site", site)
    watch = Journal.open(journal)
    shown = type_in("journal", "restore", copy, "--site", site)
    watch.close()
    assert shown.exit_code == 3 and "a watch has it open; stop it first" in shown.stderr


def test_nightly_backups_are_named_by_the_time_and_thinned(
    site: Path, journal: Path, type_in: Type, tmp_path: Path
) -> None:
    folder = tmp_path / "nightly"
    folder.mkdir()
    for day in (1, 2, 3):
        (folder / f"kuraban-2020-02-0{day}T0330.journal").touch()
    shown = type_in("journal", "backup", folder, "--keep", "2", "--site", site)
    assert shown.exit_code == 0 and shown.stdout.count(": removed") == 2
    left = sorted(one.name for one in folder.iterdir())
    assert left[0] == "kuraban-2020-02-03T0330.journal" and len(left) == 2


def test_only_a_folder_is_thinned(site: Path, journal: Path, type_in: Type) -> None:
    shown = type_in("journal", "backup", site.parent / "x", "--keep", "2", "--site", site)
    assert shown.exit_code == 2 and "is no folder" in shown.stderr


HISTORY = '[history]\nurl = "http://127.0.0.1:8086"\nbucket = "sake"\n'
NAME = "http://127.0.0.1:8086 kuraban/sake"


def test_what_the_long_history_refused_is_shown_and_given_back(
    site: Path, journal: Path, type_in: Type
) -> None:
    """How many points for which reason, and the first of them; given back, nothing is left."""
    site.write_text(site.read_text("utf-8") + HISTORY, "utf-8")
    held = Forwarded(journal, NAME)
    held.move(9, [SetAside(n, f"reading,probe=t{n} value=1 2", "too old") for n in (4, 5)])
    held.move(9, [SetAside(6, "", "an entry cannot be read")])
    shown = type_in("journal", "aside", "--site", site)
    assert shown.exit_code == 0, shown.output
    assert shown.stdout.startswith("2 × too old\n    reading,probe=t4 value=1 2\n")
    assert "1 × an entry cannot be read\n    never sent" in shown.stdout and not held.given_back(9)
    shown = type_in("journal", "aside", "--again", "--site", site)
    assert "2 points given back" in shown.stdout
    assert [number for number, _ in held.given_back(9)] == [4, 5]
    held.close()


def test_nothing_is_set_aside(site: Path, journal: Path, type_in: Type) -> None:
    """And where nothing is forwarded, that is said instead."""
    shown = type_in("journal", "aside", "--site", site)
    assert shown.exit_code == 2 and "no engine is named" in shown.stderr
    site.write_text(site.read_text("utf-8") + HISTORY, "utf-8")
    shown = type_in("journal", "aside", "--again", "--site", site)
    assert shown.exit_code == 0 and f"Nothing of {NAME} is set aside" in shown.stdout
