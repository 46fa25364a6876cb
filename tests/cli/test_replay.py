"""`kuraban replay`: the same recordings give the same lines, and say what was wrong in them."""

from __future__ import annotations

import json
from pathlib import Path

from tests.cli.conftest import SITE, Type
from tests.journals import recording

NIGHT = recording("slow-drift")


def test_the_same_night_gives_the_same_bytes(tmp_path: Path, type_in: Type) -> None:
    """Twice into files, and once to standard output."""
    first, second = tmp_path / "first.jsonl", tmp_path / "second.jsonl"
    for path in (first, second):
        assert type_in("replay", "--site", SITE, NIGHT, "--timeline", path).exit_code == 0
    shown = type_in("replay", "--site", SITE, NIGHT, "--timeline", "-")
    assert first.read_bytes() == second.read_bytes() == shown.stdout_bytes
    assert all(json.loads(line)["at"] for line in shown.stdout.splitlines())


def test_without_a_timeline_a_step_is_a_readable_line(type_in: Type) -> None:
    """A heading a day, the time, who is rung; the counts stand beside it."""
    shown = type_in("replay", "--site", SITE, NIGHT)
    lines = shown.stdout.splitlines()
    assert lines[0] == "Tuesday 10 February 2026"
    assert any("☎ Aki:" in line for line in lines)
    assert any("Tank 2 warm +0.6" in line for line in lines)
    assert "messages" in shown.stderr and "messages" not in shown.stdout


def test_a_bad_line_is_told_and_passed_over(tmp_path: Path, type_in: Type) -> None:
    bad = tmp_path / "bad.jsonl"
    bad.write_text(
        '{"tst":"2026-02-10T20:00:00+09:00","topic":"kura/reading/t2-mid","payload":"10.3"}\n'
        "this is no message\n"
        '{"tst":"2026-02-10T20:01:00+09:00","topic":"kura/reading/t2-mid","payload":"ten"}\n',
        "utf-8",
    )
    shown = type_in("replay", "--site", SITE, bad)
    assert shown.exit_code == 0
    assert "2 messages" in shown.stderr and "1 refused, 1 bad line" in shown.stderr
    assert f"{bad}:2: " in shown.stderr


def test_the_clock_runs_on_until_it_is_told(tmp_path: Path, type_in: Type) -> None:
    """By the brewery's clock, or stops before the recording ends."""
    cut, whole = tmp_path / "cut.jsonl", tmp_path / "whole.jsonl"
    words = ("replay", "--site", SITE, NIGHT, "--timeline")
    type_in(*words, cut, "--until", "2026-02-11 00:00")
    type_in(*words, whole, "--until", "2026-02-11T20:00:00+09:00")
    assert len(cut.read_bytes()) < len(whole.read_bytes())
    assert json.loads(cut.read_text("utf-8").splitlines()[-1])["at"] <= "2026-02-11T00:00"
    assert whole.read_bytes().startswith(cut.read_bytes())


def test_what_cannot_be_used_is_one_line(tmp_path: Path, type_in: Type) -> None:
    """A recording that breaks off, a time that is none, a place for the timeline that is not."""
    torn = tmp_path / "torn.jsonl.gz"
    torn.write_bytes(NIGHT.read_bytes()[:2000])
    for words, told in (
        ((torn,), "torn.jsonl.gz"),
        ((tmp_path,), str(tmp_path)),
        ((NIGHT, "--until", "late"), "--until"),
        ((NIGHT, "--timeline", tmp_path / "no" / "where"), "--timeline"),
    ):
        shown = type_in("replay", "--site", SITE, *words)
        assert shown.exit_code == 2
        assert told in shown.stderr and shown.stderr.count("\n") == 1
