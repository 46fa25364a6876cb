"""What is installed in earnest is a wheel, not this checkout."""

from __future__ import annotations

import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]


@pytest.mark.slow
def test_the_wheel_carries_courses_words_and_pages(tmp_path: Path) -> None:
    command = [sys.executable, "-m", "pip", "wheel", "--quiet", "--no-deps", "-w", str(tmp_path)]
    subprocess.run([*command, str(ROOT)], check=True, capture_output=True, timeout=200)
    (wheel,) = tmp_path.glob("kuraban-*.whl")
    inside = set(zipfile.ZipFile(wheel).namelist())
    for file in (
        "kuraban/shared/courses/moromi-slow-33.toml",
        "kuraban/shared/words/ja.toml",
        "kuraban/shared/pages/en.toml",
        "kuraban/shared/guide/ja/alarms.md",
        "kuraban/edges/web/templates/cellar.html",
    ):
        assert file in inside, file
