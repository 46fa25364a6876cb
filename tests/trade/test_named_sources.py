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
