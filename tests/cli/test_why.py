"""`kuraban why`: what every detector saw, as somebody reads it and as a script does."""

from __future__ import annotations

import json
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest

from kuraban.store.history import History
from tests.cli.conftest import Type
from tests.journals import live_through, site_file


@pytest.fixture(scope="module")
def night(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, float]:
    """Site file and last moment of a night in which tank 2 drifted."""
    folder = tmp_path_factory.mktemp("night")
    path = folder / "data" / "kuraban.journal"
    live_through("slow-drift", path)
    with closing(History(path)) as history:
        return site_file(folder), history.now() or 0.0


@pytest.fixture
def asked(
    night: tuple[Path, float], type_in: Type, at: Callable[[float], None]
) -> Callable[..., str]:
    """What is answered on the morning after."""
    at(night[1] + 5)

    def ask(*words: str) -> str:
        shown = type_in("why", *words, "--site", night[0])
        assert shown.exit_code == 0, shown.stderr
        return str(shown.output)

    return ask


def test_what_rings_comes_first_with_its_delay_and_its_end(asked: Callable[..., str]) -> None:
    told = asked("tank-2")
    first = told.partition("◼")[2]
    assert first.startswith(" warm: alarm 03:52, nobody has it yet")
    assert "██████████ Since 02:50" in first and "Over once it is below 10.7 °C" in first
    assert "believed, from t2-mid" in told and "Plan 10.3 °C: batch No. 13, Main mash." in told


def test_before_it_rings_it_says_how_much_is_spent_and_when(asked: Callable[..., str]) -> None:
    told = asked("tank-2", "--at", "2026-02-11 03:21")
    assert "◔ warm: not yet" in told
    assert "█████░░░░░ Since 02:50" in told and "30 min of 60 min spent, 30 min left" in told
    assert "Told at 03:5" in told


def test_a_quiet_tank_says_what_it_would_take(asked: Callable[..., str]) -> None:
    told = asked("tank-3", "--at", "22:00")
    assert "· warm: Rings above" in told and "◼" not in told


def test_a_script_gets_figures_and_times(asked: Callable[..., str]) -> None:
    (told,) = json.loads(asked("tank-2", "--at", "2026-02-11T03:21:00+09:00", "--json"))
    assert told["at"] == "2026-02-11T03:21:00+09:00"
    (warm,) = [one for one in told["conditions"] if one["condition"] == "warm"]
    assert warm["hand"] == "waits" and not warm["holds"]
    assert warm["delay"]["since"].startswith("2026-02-11T02:50")
    assert warm["delay"]["spent"] + warm["delay"]["left"] == warm["delay"]["wanted"] == 3600
    assert [one["key"] for one in warm["lacks"]] == ["runs-out"]


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("tank-22",), "did you mean one of tank-2"),
        (("tank-2", "--at", "2025-01-01 00:00"), "The journal begins at"),
        (("tank-2", "--at", "2031-01-01 00:00"), "lies ahead"),
        (("tank-2", "--at", "soonish"), '"soonish" is no time'),
    ],
)
def test_what_cannot_be_answered_is_said_in_one_line(
    night: tuple[Path, float], type_in: Type, at: Callable[[float], None], words: tuple[str, ...],
    says: str,
) -> None:  # fmt: skip
    at(night[1] + 5)
    shown = type_in("why", *words, "--site", night[0])
    assert shown.exit_code == 2
    assert says in shown.stderr and shown.stderr.count("\n") == 1
