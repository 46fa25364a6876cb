"""`kuraban history`: a place's last hours, for the eye and for a script."""

from __future__ import annotations

import csv
import io
import json
import shutil
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from kuraban.core.units import DAY, HOUR
from kuraban.edges.history.folder_merge import merge
from kuraban.edges.history.folder_writer import FolderWriter
from kuraban.settings import Receiver
from kuraban.store.history import History
from kuraban.store.journal import Journal
from kuraban.store.upkeep.retention import Bounds
from tests.cli.conftest import Type
from tests.edges.history.test_forwarder import Running
from tests.engines import VictoriaMetrics
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


@pytest.fixture
def lived(tmp_path: Path, at: Callable[[float], None]) -> tuple[Path, float]:
    """A night of tank 2 in a journal of its own, the clock at its end."""
    path = tmp_path / "data" / "kuraban.journal"
    live_through("slow-drift", path)
    with closing(History(path)) as history:
        last = history.now() or 0.0
    at(last)
    return path, last


def thin_out(path: Path, last: float, tens: float = 0.0) -> list[tuple[float, float]]:
    """All but the last hour becomes summaries, of ten minutes before `tens`; what tank 2's probe
    had told."""
    with closing(History(path)) as history:
        told = list(history.readings("t2-mid", 0.0, last))
    with closing(Journal.open(path)) as journal:
        while journal.summarise(Bounds(last + 2 * DAY, last - HOUR, tens)):
            pass
    return told


def test_what_is_no_longer_there_in_full_is_said(
    lived: tuple[Path, float], tmp_path: Path, type_in: Type
) -> None:
    """Before the table, in the house's language; beside the rows that are for a script. Where a
    folder of the long history has it in full there is nothing to say."""
    told, site = thin_out(*lived), site_file(tmp_path)
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


@pytest.mark.needs("victoria-metrics")
def test_an_engine_shows_what_was_before(
    lived: tuple[Path, float], tmp_path: Path, type_in: Type
) -> None:
    """Each reading at its time, once, though it was written twice and lies with two batches. An
    engine that has nothing, or is away, is a line, and what the journal keeps is shown."""
    path, last = lived
    with VictoriaMetrics(tmp_path) as server:
        more = f'[history]\nurl = "{server.url}"\nbucket = "sake"\n'
        site = site_file(tmp_path)
        site.write_text(f"{site.read_text('utf-8')}\n{more}", "utf-8")

        def shown() -> Any:
            return type_in("history", "tank-2", "--since", "12h", "--csv", "--site", site)

        before = shown()
        shutil.copy(path, tmp_path / "whole.journal")
        thin_out(path, last, last - HOUR)
        empty = shown()
        assert "does not have all of that either" in empty.stderr and "ten minutes" in empty.stderr
        assert empty.stdout != before.stdout
        for engine in ("one", "other"):
            forwarder = Running(tmp_path / "whole.journal", Receiver(server.url, engine), last)
            forwarder.caught_up()
            forwarder.stop()
        server.series("reading_value")
        assert shown().stdout == before.stdout and not shown().stderr
    away = shown()
    assert away.stdout == empty.stdout and "was not read: it was not reached" in away.stderr
    assert away.stderr.count("\n") == 3
