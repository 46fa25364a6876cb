"""`kuraban history`: a place's last hours, for the eye and for a script."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest

from kuraban.core.units import DAY, HOUR
from kuraban.edges.history.folder_merge import merge
from kuraban.edges.history.folder_writer import FolderWriter
from kuraban.store.history import History
from kuraban.store.journal import Journal
from kuraban.store.upkeep.retention import Bounds
from tests.cli.conftest import Type
from tests.journals import live_through, site_file


@pytest.fixture(scope="module")
def night(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, float]:
    folder = tmp_path_factory.mktemp("night")
    live_through("slow-drift", folder / "data" / "kuraban.journal", share=0.9)
    history = History(folder / "data" / "kuraban.journal")
    last = history.now()
    history.close()
    return site_file(folder), last or 0.0


@pytest.fixture
def asked(night: tuple[Path, float], type_in: Type, at: Callable[[float], None]) -> Type:
    site, last = night
    at(last)
    return lambda *words: type_in("history", *words, "--site", site)


def test_a_table_and_a_chart(asked: Type) -> None:
    """Measured, planned, the difference with its sign, what people did; then the curve."""
    shown = asked("tank-2", "--since", "12h")
    assert shown.exit_code == 0, shown.stderr
    assert "measured" in shown.output and "+0.6" in shown.output
    assert any("⠀" < letter <= "⣿" for letter in shown.output)
    assert "the dashes are the plan" in shown.output


def test_a_long_stretch_has_longer_rows(asked: Type) -> None:
    """A month stays readable."""
    assert len(asked("tank-2", "--since", "30d").output.splitlines()) < 120


def test_csv_has_ten_minutes_a_row(asked: Type) -> None:
    found = list(csv.DictReader(io.StringIO(asked("tank-2", "--since", "3h", "--csv").stdout)))
    assert len(found) in (18, 19)
    assert list(found[0]) == ["at", "measured", "planned", "difference", "did"]
    assert float(found[0]["planned"]) == 10.3


def test_json_says_the_same(asked: Type) -> None:
    found = json.loads(asked("tank-2", "--since", "14h", "--json").stdout)
    assert any("batch-start No. 13 (aki)" in row["did"] for row in found)
    assert found[-3]["difference"] == pytest.approx(
        found[-3]["measured"] - found[-3]["planned"], abs=0.002
    )


def test_nothing_then_is_said_so(asked: Type) -> None:
    """An empty list says what it would show."""
    assert "nothing was measured or planned" in asked("tank-1").output


@pytest.mark.parametrize(
    ("words", "right"),
    [
        (("tank-22",), "tank-2"),
        (("tank-2", "--since", "soon"), "22:10"),
        (("tank-2", "--since", "2026-03-01"), "earlier --since"),
    ],
)
def test_what_cannot_be_is_one_line(asked: Type, words: tuple[str, ...], right: str) -> None:
    shown = asked(*words)
    assert shown.exit_code == 2
    assert right in shown.stderr and shown.stderr.count("\n") == 1


def test_what_is_no_longer_there_in_full_is_said(
    tmp_path: Path, type_in: Type, at: Callable[[float], None]
) -> None:
    """Before the table, in the house's language; beside the rows that are for a script. Where a
    folder of the long history has it in full there is nothing to say."""
    path = tmp_path / "data" / "kuraban.journal"
    live_through("slow-drift", path)
    journal = Journal.open(path)
    last = journal.now() or 0.0
    with closing(History(path)) as history:
        told = list(history.readings("t2-mid", 0.0, last))
    while journal.summarise(Bounds(last + 2 * DAY, last - HOUR, 0.0)):
        pass
    journal.close()
    at(last)
    site = site_file(tmp_path)
    shown = type_in("history", "tank-2", "--since", "12h", "--site", site)
    assert "one value a minute, extremes kept." in shown.stdout and "+0.6" in shown.stdout
    shown = type_in("history", "tank-2", "--since", "12h", "--csv", "--site", site)
    assert "extremes kept" in shown.stderr and shown.stdout.startswith("at,measured")
    shown = type_in("record", "--from-journal", "--site", site)
    assert "are not in the recording" in shown.stderr
    FolderWriter(tmp_path / "months").write(
        [f'readings\t{{"probe":"t2-mid","time":{at},"value":{value}}}' for at, value in told]
    )
    merge(tmp_path / "months")
    site.write_text(site.read_text("utf-8") + '\n[history]\nfolder = "months"\n', "utf-8")
    shown = type_in("history", "tank-2", "--since", "12h", "--site", site)
    assert "extremes kept" not in shown.output and "+0.6" in shown.stdout
