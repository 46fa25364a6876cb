"""`kuraban courses`: the curves a batch can follow."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.cli.conftest import SITE, Type


def test_the_courses_that_come_with_the_watch(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, type_in: Type
) -> None:
    """Also before there is any site."""
    monkeypatch.chdir(tmp_path)
    shown = type_in("courses")
    assert shown.exit_code == 0
    assert "moromi-slow-33" in shown.output and "comes with the watch" in shown.output


def test_the_houses_own_are_told_apart(type_in: Type) -> None:
    lines = type_in("courses", "--site", SITE).output.splitlines()
    (own,) = [line for line in lines if line.startswith("night-slow ")]
    assert "the house's own" in own


def test_one_course_stage_by_stage(type_in: Type) -> None:
    shown = type_in("courses", "--site", SITE, "show", "moromi-slow-33").output
    assert "Never below 3.0 or above 16.0 °C" in shown
    assert "12.0 → 13.0" in shown and "moromi" in shown


def test_an_unknown_course_names_the_nearest(type_in: Type) -> None:
    shown = type_in("courses", "--site", SITE, "show", "moromi-slow")
    assert shown.exit_code == 2
    assert "moromi-slow-33" in shown.stderr
