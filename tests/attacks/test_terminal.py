"""Notes and names that are orders to a terminal or a spreadsheet: read, and never obeyed."""

from __future__ import annotations

import csv
import json
import logging
import re
from collections.abc import Callable
from pathlib import Path

import pytest

from kuraban.cli.common import PlainConsole, table
from kuraban.core.entries import Note
from kuraban.core.facts import Logged
from kuraban.core.units import parse_time
from kuraban.runtime.watch_main import log_lines
from tests.cli.conftest import Type, at, type_in
from tests.journals import live_through, site_file

__all__ = ["at", "type_in"]

NIGHT, TONIGHT = "slow-drift", parse_time("2026-02-11T02:00:00+09:00")
NOTES = (
    "[/evil] and [bold red]no[/]", "[link=https://evil.invalid]warm[/link]", ":skull: [@click=x]y",
    "\x1b]0;owned\x07\x1b[2J\x9b31m gone\r over", "tank\u202e3 mraw", "=HYPERLINK(1)", "@SUM(A1)",
    "+1+1", "-2+3", "\t=1", "＝1+1", "-3.5",
)  # fmt: skip
"""What an earlier door may have taken, or a recording or a backup brought in."""
ORDERS = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]")


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A night with all of these notes, at a brewery whose names have brackets."""
    folder = tmp_path_factory.mktemp("night")
    facts = tuple(
        Logged(f"n{n}", "tank-2", Note(text), TONIGHT + n, TONIGHT + n, by=text)
        for n, text in enumerate(NOTES)
    )
    path = site_file(folder)
    text = path.read_text("utf-8")
    for name in ("Tank 2", "Aki", "Chiller 1", "Cellar"):
        text = text.replace(f'name = "{name}"', f'name = "{name} [/evil]"', 1)
    path.write_text(text, "utf-8")
    live_through(NIGHT, folder / "data" / "kuraban.journal", between=facts)
    return path


@pytest.mark.parametrize(
    "words",
    [
        ("check",), ("status",), ("status", "--json"), ("history", "tank-2", "--since", "24h"),
        ("history", "tank-2", "--since", "24h", "--csv"), ("report",), ("duty",),
        ("history", "tank-2", "--since", "24h", "--json"), ("report", "rings"), ("courses",),
        ("journal", "verify"), ("record", "--from-journal"), ("rehearse", "--tolerance", "0.5"),
        ("reckon", "left", "tank-2"), ("log", "tank-2", "note", "text=[/evil]", "--no-wait"),
    ],
    ids=" ".join,
)  # fmt: skip
def test_no_command_obeys_or_breaks(
    words: tuple[str, ...], site: Path, type_in: Type, at: Callable[[float], None]
) -> None:
    at(TONIGHT + 3600)
    shown = type_in(*words, "--site", site)
    assert shown.exception is None or isinstance(shown.exception, SystemExit), shown.exception
    assert not ORDERS.search(shown.output)


def test_a_recording_keeps_every_letter(
    site: Path, type_in: Type, tmp_path: Path, at: Callable[[float], None]
) -> None:
    """Spelled so that JSON reads it and a terminal does not obey it."""
    at(TONIGHT + 3600)
    told = type_in("record", "--from-journal", "--site", site).stdout
    notes = [
        json.loads(json.loads(line)["payload"]) for line in told.splitlines() if "note" in line
    ]
    assert {note["text"] for note in notes if "text" in note} >= set(NOTES)


def test_brackets_are_shown_as_they_were_written(
    site: Path, type_in: Type, at: Callable[[float], None]
) -> None:
    at(TONIGHT + 3600)
    shown = type_in("history", "tank-2", "--since", "12h", "--site", site).stdout
    words = "".join(shown.split())  # a note is folded to its column
    assert "[link=https://evil.invalid]warm[/link]" in words and ":skull:[@click=x]y" in words
    assert "Tank 2 [/evil]" in type_in("check", "--site", site).stdout


def test_on_a_terminal_too_nothing_but_our_own_style_is_an_order(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("FORCE_COLOR", "1")
    monkeypatch.delenv("NO_COLOR", raising=False)
    made = table("note")
    made.add_row("\x1b]0;owned\x07[blink]x[/]")
    PlainConsole().print(made)
    told = re.sub(r"\x1b\[[0-9;]*m", "", capsys.readouterr().out)
    assert "\x1b" not in told and "\x07" not in told and "[blink]x[/]" in told


def test_errors_and_log_lines_are_plain(
    site: Path, type_in: Type, capsys: pytest.CaptureFixture[str]
) -> None:
    shown = type_in("history", "tank\x1b[2J", "--site", site)
    assert shown.exit_code == 2 and not ORDERS.search(shown.stderr)
    log = logging.getLogger("kuraban")
    held = log.handlers, log.propagate
    try:
        log_lines(supervised=False)
        log.warning("broker: %s", "\x1b]0;owned\x07")
        assert not ORDERS.search(capsys.readouterr().err)
    finally:
        log.handlers, log.propagate = held


def test_the_shelf_opens_in_a_spreadsheet_without_reckoning(
    site: Path, type_in: Type, tmp_path: Path, at: Callable[[float], None]
) -> None:
    """No cell that is a text begins as a formula does; every number is still one."""
    at(TONIGHT + 3600)
    out = tmp_path / "shelf"
    assert type_in("batch", "export", "No. 13", "--out", out, "--site", site).exit_code == 0
    history = type_in("history", "tank-2", "--since", "24h", "--csv", "--site", site).stdout
    (out / "history.csv").write_text(history, "utf-8")
    cells, numbers = [], 0
    for path in out.glob("*.csv"):
        with path.open(encoding="utf-8-sig", newline="") as file:
            cells += [cell for row in csv.reader(file) for cell in row]
    for cell in cells:
        assert not ORDERS.search(cell)
        if cell.startswith(("=", "+", "-", "@", "\t", "\r", "＝")):
            float(cell)
            numbers += 1
    assert numbers and {"-3.5", "'@SUM(A1)", "'＝1+1", "'=HYPERLINK(1)", "'-2+3"} <= set(cells)
