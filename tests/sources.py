"""The sources of the watch as a house has them, for tests that install it."""

from __future__ import annotations

import shutil
from pathlib import Path

ROOT = Path(__file__).parents[1]
SOURCES = ("daemon", "deploy", "shared", "pyproject.toml", "README.md")


def laid(home: Path) -> Path:
    """A copy in a folder, in which nobody works."""
    for name in SOURCES:
        if (ROOT / name).is_dir():
            ignored = shutil.ignore_patterns("__pycache__", ".*")
            shutil.copytree(ROOT / name, home / name, symlinks=True, ignore=ignored)
        else:
            shutil.copy(ROOT / name, home / name)
    return home
