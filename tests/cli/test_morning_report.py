"""`kuraban report`: the night and the month, after the fact."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from kuraban.cli import morning_report as report
from tests.cli.conftest import Type
from tests.journals import live_through


@pytest.fixture
def lived(site: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The site after the night on which the chiller locked out."""
    data = site.parent / "data"
    data.mkdir()
    told = live_through("chiller-locked", data / "kuraban.journal")
    monkeypatch.setattr(report, "clock", lambda: told[-1].at + 60.0)
    return site


def test_the_morning_report_is_there_at_any_hour(lived: Path, type_in: Type) -> None:
    shown = type_in("report", "--site", lived)
    assert shown.exit_code == 0, shown.output
    assert "Morning:" in shown.output and "Tank" in shown.output
    assert "朝" in type_in("report", "--language", "ja", "--site", lived).output


def test_rings_stand_beside_the_figures_of_the_standards(lived: Path, type_in: Type) -> None:
    shown = type_in("report", "calls", "--days", "7", "--site", lived).output
    assert "ANSI/ISA-18.2 and EEMUA 191, from memory" in " ".join(shown.split())
    for word in ("alarms a day", "most in 10 minutes", "time in flood", "Woken", "Most frequent"):
        assert word in shown
    assert "Fewer than 30 days" in shown


def test_a_script_gets_json(lived: Path, type_in: Type) -> None:
    found = json.loads(type_in("report", "rings", "--json", "--site", lived).output)
    assert found["rings"] >= 1 and found["verdicts"]["unsaid"] >= 1
    assert sum(one["times"] for one in found["frequent"]) <= found["alarms"]


def test_without_a_journal_it_says_so(site: Path, type_in: Type) -> None:
    shown = type_in("report", "calls", "--site", site)
    assert shown.exit_code == 3 and "there is no journal" in shown.stderr
