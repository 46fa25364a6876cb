"""The command line as somebody types it, at an invented brewery."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import typer
from typer.testing import CliRunner

from kuraban.cli import command_line
from kuraban.queries import journal_state as state
from tests.journals import BREWERY, site_file

Type = Callable[..., Any]
"""Takes words, gives typer's result: output, stdout, stderr, exit_code."""
KURABAN = (sys.executable, "-c", "from kuraban.cli import main; main()")
"""The command in a process of its own."""
KNOWN = command_line()
TYPED = typer.main.get_command(KNOWN)
"""All commands as typer makes them: made anew for every call they take longer than most calls."""
SITE = BREWERY / "site.toml"


@pytest.fixture
def type_in(monkeypatch: pytest.MonkeyPatch) -> Type:
    """Types `kuraban …`, in a window of 100 columns without colour; gives what came of it."""
    monkeypatch.setenv("COLUMNS", "100")
    monkeypatch.setenv("NO_COLOR", "1")
    monkeypatch.delenv("KURABAN_SITE_FILE", raising=False)
    monkeypatch.setattr("typer.testing._get_command", lambda _: TYPED)

    def run(*words: object, answers: str | None = None) -> Any:
        return CliRunner().invoke(KNOWN, [str(word) for word in words], input=answers)

    return run


@pytest.fixture
def at(monkeypatch: pytest.MonkeyPatch) -> Callable[[float], None]:
    """Sets the time at which somebody asks."""

    def be(moment: float) -> None:
        for name in (
            "view",
            "status",
            "history",
            "log",
            "record",
            "check",
            "page_test",
            "why",
            "journal",
        ):
            module = state if name == "view" else __import__(f"kuraban.cli.{name}", fromlist=[name])
            monkeypatch.setattr(module, "clock", lambda: moment)

    return be


@pytest.fixture
def site(tmp_path: Path) -> Path:
    """The invented brewery's site file, with a data folder of its own."""
    return site_file(tmp_path)
