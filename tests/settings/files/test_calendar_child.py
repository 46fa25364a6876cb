"""Calendars are read in a program of their own, which is ended when it takes too long."""

from __future__ import annotations

from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from kuraban.settings.files import calendar_child
from kuraban.settings.files.calendar_child import Event, read_apart

TOKYO = ZoneInfo("Asia/Tokyo")
NOW = 1_770_145_800.0
ICS = (
    "BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//Nowhere//rota//EN\r\nBEGIN:VEVENT\r\nUID:1\r\n"
    "SUMMARY:Aki\r\nDTSTART:20260205T180000\r\nDTEND:20260206T060000\r\nEND:VEVENT\r\n"
    "END:VCALENDAR\r\n"
)


def test_titles_and_duties_come_back(tmp_path: Path) -> None:
    """Without a moment nothing is written out."""
    path = tmp_path / "duty.ics"
    path.write_text(ICS, "utf-8")
    found = read_apart(path, TOKYO, NOW)
    assert found.duties == (Event("Aki", 1_770_282_000.0, 1_770_325_200.0),)
    assert (found.titles, found.missing, found.wrong) == (("Aki",), "", "")
    assert read_apart(path, TOKYO).duties == ()


def test_a_file_that_is_not_there_is_told_as_missing(tmp_path: Path) -> None:
    found = read_apart(tmp_path / "none.ics", TOKYO, NOW)
    assert (found.missing, found.wrong) == ("No such file or directory", "")


def test_a_reader_that_ends_otherwise_says_its_last_words(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(calendar_child.sys, "executable", "/bin/false")
    assert "status 1" in read_apart(tmp_path / "duty.ics", TOKYO).wrong
    monkeypatch.setattr(calendar_child.sys, "executable", "/nowhere/python")
    assert "no process can be had" in read_apart(tmp_path / "duty.ics", TOKYO).missing
