"""A backup from somebody's stick: restored without running or believing anything in it."""

from __future__ import annotations

import pickle
import shutil
import sqlite3
import time
from pathlib import Path

import msgspec
import pytest

from kuraban.runtime import freeze, recover
from kuraban.runtime.checkpoint.document import version
from kuraban.settings.catalogues import load_words
from kuraban.store.journal import Checkpoint, Journal
from tests.cli.conftest import Type, site, type_in
from tests.journals import live_through
from tests.kept import Evil

__all__ = ["site", "type_in"]

NIGHT = "slow-drift"


@pytest.fixture(scope="module")
def night(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A night in which tank 2 grew warm, as a journal with its kept state."""
    path = tmp_path_factory.mktemp("night") / "kuraban.journal"
    live_through(NIGHT, path)
    held = Journal.open(path)
    kept = freeze(recover(held, load_words()))
    assert kept is not None
    store(held, bytes(kept.blob))
    return path


@pytest.fixture
def backup(night: Path, tmp_path: Path) -> Path:
    copy: Path = shutil.copy(night, tmp_path / "backup.journal")
    return copy


def store(held: Journal, blob: bytes) -> None:
    engine = recover(held, load_words())
    held.commit(engine.drain(), Checkpoint(version(), blob))
    held.close()


def kept_in(path: Path) -> dict[str, object]:
    held = Journal.open(path)
    found = held.load_checkpoint()
    held.close()
    assert found is not None
    document: dict[str, object] = msgspec.msgpack.decode(found[2])
    return document


def journal_of(site: Path) -> Path:
    return site.parent / "data" / "kuraban.journal"


def test_code_in_the_kept_state_never_runs(backup: Path, site: Path, type_in: Type) -> None:
    """Neither as the backup is restored nor by any command nor as the watch starts."""
    made = site.parent / "made"
    store(Journal.open(backup), pickle.dumps(Evil(made)))
    shown = type_in("journal", "restore", backup, "--site", site)
    assert shown.exit_code == 0, shown.output
    for command in (("status",), ("history", "tank-5"), ("report",), ("journal", "verify")):
        assert type_in(*command, "--site", site).exit_code == 0
    held = Journal.open(journal_of(site))
    recover(held, load_words())
    held.close()
    assert not made.exists()


def test_nobody_believes_what_it_says_stands(backup: Path, site: Path, type_in: Type) -> None:
    """The kept state of a backup is dropped, and the watch is built anew from the facts."""
    document = kept_in(backup)
    document["standing"] = {**document["standing"], "alarms": []}  # type: ignore[dict-item]
    store(Journal.open(backup), msgspec.msgpack.encode(document))
    shown = type_in("journal", "restore", backup, "--site", site)
    assert shown.exit_code == 0 and "works out again what stands" in shown.stdout
    held = Journal.open(journal_of(site))
    assert held.load_checkpoint() is None
    engine = recover(held, load_words())
    held.close()
    assert ("tank-2", "warm") in engine.alarm_manager.alarms


WITH = {
    "a trigger that silences every page": (
        "CREATE TRIGGER quiet AFTER INSERT ON outbox BEGIN DELETE FROM outbox; END",
        "trigger quiet",
    ),
    "a view that never ends": (
        "CREATE VIEW more AS WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n)"
        " SELECT max(i) FROM n", "view more",
    ),
    "a table of another module": ("CREATE VIRTUAL TABLE found USING fts5(text)", "table found"),
}  # fmt: skip


@pytest.mark.parametrize(("planted", "named"), WITH.values(), ids=list(WITH))
def test_what_would_run_by_itself_is_refused(
    backup: Path, site: Path, type_in: Type, planted: str, named: str
) -> None:
    """No journal of ours has any; verify names it, restore changes nothing."""
    with sqlite3.connect(backup) as db:
        db.execute(planted)
    db.close()
    shown = type_in("journal", "verify", backup, "--site", site)
    assert shown.exit_code == 1 and named in shown.stdout
    shown = type_in("journal", "restore", backup, "--site", site)
    assert shown.exit_code == 3 and named in shown.stderr
    assert not journal_of(site).exists()


def test_a_view_in_a_tables_place_is_not_looked_at(backup: Path, site: Path, type_in: Type) -> None:
    """To count its rows would take for ever."""
    with sqlite3.connect(backup) as db:
        db.execute("DROP TABLE step")
        db.execute(
            "CREATE VIEW step AS WITH RECURSIVE n(seq) AS"
            " (SELECT 1 UNION ALL SELECT seq + 1 FROM n) SELECT seq, seq AS at, seq AS link FROM n"
        )
    db.close()
    began = time.monotonic()
    assert type_in("journal", "verify", backup, "--site", site).exit_code == 1
    assert type_in("journal", "restore", backup, "--site", site).exit_code == 3
    assert time.monotonic() - began < 10


@pytest.mark.parametrize("foreign", ["songs", "text"])
def test_another_programs_file_is_named_as_such(
    foreign: str, tmp_path: Path, site: Path, type_in: Type
) -> None:
    path = tmp_path / "other.journal"
    if foreign == "songs":
        with sqlite3.connect(path) as db:
            db.execute("CREATE TABLE song(title)")
        db.close()
    else:
        path.write_text("Tank 3 was 10.5 at noon\n" * 300, "utf-8")
    for command, status in (("verify", 1), ("restore", 3)):
        shown = type_in("journal", command, path, "--site", site)
        assert shown.exit_code == status
        assert f"{path}: data base: is no journal of kuraban" in shown.output
        assert "kuraban journal backup" in shown.output and "lost" not in shown.output
