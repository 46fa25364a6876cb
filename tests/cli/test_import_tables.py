"""`kuraban import`: old seasons from tables, which stand beside this one then."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from kuraban.cli import import_tables
from kuraban.settings.paths import JOURNAL
from kuraban.store.history import History
from kuraban.store.journal import Journal
from tests.cli.conftest import Type
from tests.imports.mangled import BATCH, GOOD, HEADS, NOW, OF_BATCHES
from tests.journals import live_through

MAPPING = 'kind = "readings"\n[columns]\ntime = "time"\n"Tank 3" = "tank-3"\n"Tank 5" = "tank-5"\n'
OF_BATCH = (
    'kind = "batches"\ncourse = "moromi-slow-33"\n[columns]\nNo = "batch"\ntank = "place"\n'
    'soe = "stage:soe"\ntome = "stage:tome"\npressed = "end"\n'
)


@pytest.fixture(autouse=True)
def today(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(import_tables, "clock", lambda: NOW)


@pytest.fixture
def table(tmp_path: Path) -> Path:
    path = tmp_path / "season.csv"
    path.write_text(HEADS + GOOD, "utf-8")
    return path


def test_whoever_sits_there_is_asked_once(
    site: Path, table: Path, type_in: Type, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What the headings say is offered; the answers are kept, and used for the next table."""
    monkeypatch.setattr(import_tables, "on_terminal", lambda: True)
    answers = "\n".join(["", "", "tank 33", "tank-3", "-", "", "Mars"])
    shown = type_in("import", table, "--site", site, answers=answers)
    assert shown.exit_code == 2 and 'no time zone "Mars"' in shown.stderr
    answers = "\n".join(["", "", "tank-3", "-", "", "", ""])
    shown = type_in("import", table, "--site", site, answers=answers)
    assert "season.csv: 1 reading added" in shown.output and shown.exit_code == 0
    shown = type_in("import", table, "--site", site)
    assert "season.csv: 0 readings added, 1 known already" in shown.output


def test_without_a_terminal_the_mapping_to_write_is_said(
    site: Path, table: Path, type_in: Type, tmp_path: Path
) -> None:
    """As it stands it can be put into a file, where the headings say enough."""
    shown = type_in("import", table, "--site", site)
    assert shown.exit_code == 2 and "name it with --mapping" in shown.stderr
    (tmp_path / "mapping.toml").write_text(shown.stdout, "utf-8")
    shown = type_in("import", "--mapping", tmp_path / "mapping.toml", table, "--site", site)
    assert "2 readings added" in shown.output


def test_a_wrong_table_leaves_the_others_their_way(
    site: Path, table: Path, type_in: Type, tmp_path: Path
) -> None:
    (tmp_path / "map.toml").write_text(MAPPING, "utf-8")
    (tmp_path / "wrong.csv").write_text(HEADS + GOOD.replace("10.5", "warm"), "utf-8")
    words = ("import", "--mapping", tmp_path / "map.toml", tmp_path / "wrong.csv", table)
    shown = type_in(*words, "--site", site)
    assert shown.exit_code == 2 and 'row 2, column "Tank 3": "warm"' in shown.stderr
    assert "season.csv: 2 readings added" in shown.stdout


def test_what_the_clocks_did_is_said(site: Path, type_in: Type, tmp_path: Path) -> None:
    hours = [f"2025-10-26 {hour}:30,10.5,10.7\n" for hour in ("01", "02", "02", "03")]
    hours.append("2026-03-29 02:30,10.5,10.7\n")
    (tmp_path / "clocks.csv").write_text(HEADS + "".join(hours), "utf-8")
    (tmp_path / "map.toml").write_text(f'timezone = "Europe/Berlin"\n{MAPPING}', "utf-8")
    words = ("--mapping", tmp_path / "map.toml", tmp_path / "clocks.csv")
    told = type_in("import", *words, "--site", site).stdout
    assert "2025-10-26: an hour came twice: 1 times read as the first, 1 as the second" in told
    assert "2026-03-29: 1 times in the hour that was left out" in told


def test_an_old_season_is_rehearsed_and_looked_up(
    site: Path, type_in: Type, tmp_path: Path, at: Callable[[float], None]
) -> None:
    """A tank that stood two degrees above its plan would have rung; the watch of today decides as
    it did."""
    journal = tmp_path / "data" / JOURNAL
    live_through("slow-drift", journal, share=0.02)
    before = Journal.open(journal)
    facts, links = list(before.facts_after()), before.verify()
    before.close()
    start = datetime(2025, 1, 20, 10)
    rows = [f"{start + timedelta(minutes=5 * n):%Y-%m-%d %H:%M},12.5,9\n" for n in range(200)]
    for name, text, mapping in (
        ("season", HEADS + "".join(rows), MAPPING),
        ("batches", OF_BATCHES + BATCH, OF_BATCH),
    ):
        (tmp_path / f"{name}.csv").write_text(text, "utf-8")
        (tmp_path / f"{name}.toml").write_text(mapping, "utf-8")
        words = ("--mapping", tmp_path / f"{name}.toml", tmp_path / f"{name}.csv")
        assert type_in("import", *words, "--site", site).exit_code == 0
    at(History(journal).now() or 0.0)
    span = ("--since", "2025-01-20 10:00", "--until", "2025-01-21 10:00", "--site", site)
    shown = type_in("rehearse", "--with", "tolerance=+0.1", *span)
    assert "\nfar-warm " in shown.stdout, shown.stdout
    assert "12.5" in type_in("history", "tank-3", *span).stdout
    after = Journal.open(journal)
    assert list(after.facts_after()) == facts and after.verify() == links == []
    after.close()
