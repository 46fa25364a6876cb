"""A small invented brewery, written afresh for each test."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from kuraban.errors import ConfigurationError, Fault
from kuraban.settings import load

SMALL = """
[site]
name = "Small demo brewery"
timezone = "Asia/Tokyo"

[[place]]
id = "cellar"
kind = "room"
name = "Cellar"

[[place]]
id = "tank-3"
kind = "tank"
name = "Tank 3"
litres = 1400
room = "cellar"
cooler = "chiller-1"

[[cooler]]
id = "chiller-1"
kind = "chilled-water"

[[probe]]
id = "t3-mid"
of = "tank-3"
measures = "product"

[[person]]
id = "aki"
name = "Aki"
pages = ["json://127.0.0.1:9000/aki"]

[[duty]]
role = "brewer"
person = "aki"
order = 1
"""

COURSE = """
id = "house-slow"
for = ["tank"]

[[stage]]
id = "soe"
length = "1d"
points = [["0h", 12.0], ["24h", 13.0]]
"""


@pytest.fixture
def small(tmp_path: Path) -> Callable[..., Path]:
    """Writes the small brewery's site file, with words changed or text added; returns its path."""

    def write(*changes: tuple[str, str], more: str = "") -> Path:
        text = SMALL
        for old, new in changes:
            assert old in text
            text = text.replace(old, new, 1)
        path = tmp_path / "site.toml"
        path.write_text(text + more, encoding="utf-8")
        path.chmod(0o640)
        return path

    return write


@pytest.fixture
def course(tmp_path: Path) -> Callable[..., Path]:
    """Writes a house's own course file, with words changed or text added; returns its path."""

    def write(*changes: tuple[str, str], more: str = "", name: str = "house.toml") -> Path:
        text = COURSE
        for old, new in changes:
            assert old in text
            text = text.replace(old, new, 1)
        path = tmp_path / "courses" / name
        path.parent.mkdir(exist_ok=True)
        path.write_text(text + more, encoding="utf-8")
        return path

    return write


@pytest.fixture
def faults() -> Callable[..., dict[str, Fault]]:
    """Reads a broken site and gives its faults by key."""

    def read(path: Path, env: dict[str, str] | None = None) -> dict[str, Fault]:
        with pytest.raises(ConfigurationError) as broken:
            load(path, env or {})
        return {fault.key: fault for fault in broken.value.faults}

    return read
