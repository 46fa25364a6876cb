"""The commands after somebody has set the wall clock: asked by it, and answered by it."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from kuraban.core.facts import ClockStepped
from kuraban.core.units import HOUR, parse_time
from kuraban.store.history import History
from tests.broker import free_port
from tests.cli.conftest import Type
from tests.journals import live_through, site_file

BACK = -9 * HOUR
Asked = Callable[..., str]


@pytest.fixture(scope="module")
def night(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, float]:
    """Site file, and the last moment of a drift by the wall clock, which went nine hours back."""
    folder = tmp_path_factory.mktemp("night")
    path, step = folder / "data" / "kuraban.journal", ClockStepped(0.0, BACK, BACK, 0.0)
    live_through("slow-drift", path, share=0.9, between=(step,))
    history = History(path)
    last = history.now() or 0.0
    history.close()
    return site_file(folder, port=free_port()), last + BACK


@pytest.fixture
def asked(
    night: tuple[Path, float], type_in: Type, at: Callable[[float], None],
    monkeypatch: pytest.MonkeyPatch,
) -> Asked:  # fmt: skip
    site, wall = night
    at(wall + 5)
    for name in ("morning_report", "batch_export", "duty", "reckon_place", "rehearse"):
        module = __import__(f"kuraban.cli.{name}", fromlist=[name])
        monkeypatch.setattr(module, "clock", lambda: wall + 5)

    def ask(*words: object) -> str:
        shown = type_in(*words, "--site", site)
        assert shown.exit_code == 0, shown.output
        return str(shown.stdout)

    return ask


def test_status_is_of_now(night: tuple[Path, float], asked: Asked) -> None:
    """Not nine hours ago, and with the time that a clock on the wall shows."""
    shown = asked("status")
    assert "last written 5 s ago" in shown and "Tank 2 warm +0." in shown
    told = json.loads(asked("status", "--json"))
    assert parse_time(told["asked"]) == pytest.approx(night[1] + 5)
    assert parse_time(told["journal"]["last_turn"]) == pytest.approx(night[1])
    warm = next(one for one in told["standing"] if one["condition"] == "warm")
    assert night[1] - 5 * HOUR < parse_time(warm["since"]) < night[1]


def test_the_last_hours_are_those_before_now(night: tuple[Path, float], asked: Asked) -> None:
    rows = json.loads(asked("history", "tank-2", "--since", "2h", "--json"))
    stamps = [parse_time(row["at"]) for row in rows]
    assert night[1] - 2.2 * HOUR < min(stamps) and night[1] - HOUR < max(stamps) <= night[1]
    assert any(row["measured"] is not None for row in rows)


def test_rings_are_told_by_it(night: tuple[Path, float], asked: Asked) -> None:
    told = json.loads(asked("report", "rings", "--json"))
    assert abs(parse_time(told["end"]) - night[1] - 5) < 1 and told["alarms"] > 0


def test_the_report_and_the_arithmetic_stand_at_now(asked: Asked) -> None:
    assert "Tank 2" in asked("report")
    assert "is the watch running?" not in asked("reckon", "left", "tank-2")


def test_a_batch_is_exported_by_it(night: tuple[Path, float], asked: Asked, tmp_path: Path) -> None:
    said = asked("batch", "export", "No. 9", "--out", tmp_path / "out")
    assert "readings" in said
    readings = next((tmp_path / "out").glob("readings-*.csv"))
    last = readings.read_text("utf-8").splitlines()[-1].split(",")
    assert night[1] - HOUR < parse_time(last[0]) <= night[1]
    assert parse_time(last[0]) == pytest.approx(float(last[1]))


def test_a_recording_from_the_journal_keeps_the_watchs_time(
    night: tuple[Path, float], asked: Asked, tmp_path: Path
) -> None:
    """Since it must be played; what is asked for is said by the clock."""
    asked("record", "--from-journal", "--since", "-1h", "--out", tmp_path / "r.jsonl")
    lines = [json.loads(line) for line in (tmp_path / "r.jsonl").open(encoding="utf-8")]
    first, last = (parse_time(lines[number]["tst"]) for number in (0, -1))
    assert abs(first - (night[1] - BACK - HOUR + 5)) < 120
    assert abs(last - (night[1] - BACK)) < 120
    assert "kura/watch/clock" in {line["topic"] for line in lines}


def test_the_journal_says_from_when_to_when_by_it(
    night: tuple[Path, float], asked: Asked, tmp_path: Path
) -> None:
    shown = asked("journal", "verify")
    last = shown.split(" to ")[1].split(".")[0]
    assert night[1] - HOUR < parse_time(last) <= night[1] + 60


def test_a_rehearsal_tells_the_nights_by_it(night: tuple[Path, float], asked: Asked) -> None:
    told = json.loads(asked("rehearse", "--with", "tolerance=+0.2", "--json"))
    assert abs(parse_time(told["until"]) - night[1]) < 60
