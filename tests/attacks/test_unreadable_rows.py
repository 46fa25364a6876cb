"""A journal that holds what the watch cannot read, or what no door would take today."""

from __future__ import annotations

import logging
from collections.abc import Callable
from pathlib import Path

import pytest

from kuraban.core.entries import Aim, Moment, Plan
from kuraban.core.facts import Logged
from kuraban.core.units import parse_time
from kuraban.runtime.recovery import recover
from kuraban.settings.catalogues import load_words
from kuraban.settings.paths import JOURNAL
from kuraban.store.journal import Journal
from tests.cli.conftest import Type, at, site, type_in
from tests.journals import live_through

__all__ = ["at", "site", "type_in"]

NIGHT, TONIGHT = "slow-drift", parse_time("2026-02-11T02:00:00+09:00")
FAR = Logged(
    "far", "tank-2", Plan(points=((Moment(TONIGHT + 600), 12.0), (Moment(1.28e11), 12.0))),
    TONIGHT, TONIGHT,
)  # fmt: skip
"""What an earlier door took: the second year was typed 6026."""
UNREADABLE = Logged(
    "beyond", "tank-3", Aim(celsius=9.0, by=Moment(9e11)), TONIGHT + 1, TONIGHT + 1
)  # fmt: skip
"""A time that no calendar shows."""


@pytest.fixture
def journal(site: Path) -> Path:
    """A night in which both came; its watch was killed before it kept its state."""
    path = site.parent / "data" / JOURNAL
    live_through(NIGHT, path, between=(FAR, UNREADABLE))
    return path


def test_the_watch_starts_on_it(journal: Path, caplog: pytest.LogCaptureFixture) -> None:
    """The one is taken up as it was, the other left out, and the log says which."""
    kept = Journal.open(journal)
    with caplog.at_level(logging.ERROR):
        engine = recover(kept, load_words())
    kept.close()
    log = {logged.id for logged in engine.view.entry_log.log}
    assert "far" in log and "beyond" not in log
    assert "a fault of ours" not in caplog.text


@pytest.mark.parametrize("words", [("status",), ("report",), ("history", "tank-2")])
def test_every_command_answers(
    words: tuple[str, ...], journal: Path, site: Path, type_in: Type, at: Callable[[float], None]
) -> None:
    at(TONIGHT + 3600)
    shown = type_in(*words, "--site", site)
    assert shown.exit_code == 0, shown.output


def test_verify_names_the_row(journal: Path, site: Path, type_in: Type) -> None:
    """It is not sound: a fact in it is left out by whoever reads."""
    shown = type_in("journal", "verify", "--site", site)
    assert shown.exit_code == 1
    (line,) = shown.stdout.splitlines()
    assert "entry beyond of tank-3" in line and "leaves it out" in line
