"""What the tests of the journal share: a place for it, and disks that can be filled or locked."""

from __future__ import annotations

import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from kuraban.store.connection import MEMORY
from kuraban.store.journal import Journal


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """An empty disk of one megabyte; the test is marked `needs_root`."""
    folder = tmp_path / "disk"
    folder.mkdir()
    subprocess.run(("mount", "-t", "tmpfs", "-o", "size=1m", "tmpfs", folder), check=True)
    yield folder
    subprocess.run(("umount", "-l", folder), check=True)


@pytest.fixture(params=["file", "memory"])
def opened(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Callable[[], Journal]]:
    """Opens journals on file, then in memory, and closes them after the test."""
    journals: list[Journal] = []

    def open_one() -> Journal:
        path = MEMORY if request.param == "memory" else tmp_path / f"{len(journals)}.journal"
        journals.append(Journal.open(path))
        return journals[-1]

    yield open_one
    for journal in journals:
        journal.close()


@pytest.fixture
def journal(opened: Callable[[], Journal]) -> Journal:
    return opened()


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "kuraban.journal"


@pytest.fixture
def kept(path: Path) -> Iterator[Journal]:
    """A journal on file at `path`."""
    journal = Journal.open(path)
    yield journal
    journal.close()
