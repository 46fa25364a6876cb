"""What the tests of the journal share: a place for it, and disks that can be filled or locked."""

from __future__ import annotations

import os
import subprocess
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from kuraban.store.connection import MEMORY
from kuraban.store.journal import Journal

_LEFT_OUT = pytest.StashKey[list[str]]()


def pytest_configure(config: pytest.Config) -> None:
    config.addinivalue_line("markers", "needs_root: mounts a small disk of its own")
    config.stash.setdefault(_LEFT_OUT, [])


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Leave out what needs a mount where none can be made, and say so at the end."""
    wanting = [item for item in items if item.get_closest_marker("needs_root")]
    if not wanting or _can_mount():
        return
    items[:] = [item for item in items if item not in wanting]
    config.hook.pytest_deselected(items=wanting)
    config.stash[_LEFT_OUT].extend(item.nodeid for item in wanting)


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    left_out = terminalreporter.config.stash.get(_LEFT_OUT, [])
    if left_out:
        terminalreporter.section("left out: they mount a small disk, which takes root")
        for name in left_out:
            terminalreporter.line(name)


def _can_mount() -> bool:
    if os.geteuid() != 0:
        return False
    with tempfile.TemporaryDirectory() as folder:
        if _run("mount", "-t", "tmpfs", "-o", "size=64k", "tmpfs", folder):
            return False
        return not _run("umount", folder)


def _run(*command: str) -> int:
    return subprocess.run(command, capture_output=True, check=False).returncode


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
