"""What a test cites by number stands in the list, and nothing else does."""

from __future__ import annotations

import re
from pathlib import Path

HERE = Path(__file__).parent


def test_every_number_that_is_cited_is_listed() -> None:
    listed = set(re.findall(r"^\| (S\d+) \|", (HERE / "SOURCES.md").read_text("utf-8"), re.M))
    tests = [path.read_text("utf-8") for path in HERE.glob("test_*.py")]
    cited = {number for text in tests for number in re.findall(r"\bS\d+\b", text)}
    assert cited == listed


def test_150_printed_figures_of_which_60_are_of_sake_are_cited_by_number() -> None:
    """Beside those of statistics, humid air and thermometers, which the tests name themselves."""
    text = (HERE / "SOURCES.md").read_text("utf-8")
    counted = re.findall(r"^\| S\d+ \|.*\| (\d+)( sake)? \|$", text, re.M)
    assert sum(int(figures) for figures, _ in counted) >= 150
    assert sum(int(figures) for figures, sake in counted if sake) >= 60
