"""A failing season made short: events are dropped while it still fails in the same way."""

from __future__ import annotations

import shutil
import signal
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import msgspec

from tests.simulation.checks import wrong_with
from tests.simulation.script import Event, Script
from tests.simulation.season import Season

Broken = list[tuple[str, str]]
MEMORY_DISK = Path("/dev/shm")
LONGEST, AGAIN = 120.0, 20.0
"""Seconds of processor time after which a season hangs, and after which the next life does."""


class Hung(Exception):
    """The watch goes round in circles."""


def played(script: Script) -> Broken:
    """What is wrong with it: each rule that it breaks, and how."""
    above = MEMORY_DISK if MEMORY_DISK.is_dir() else None
    folder = Path(tempfile.mkdtemp(prefix="kuraban-season-", dir=above))
    try:
        with _bounded():
            return wrong_with(Season(script, folder / "disk").run())
    finally:
        shutil.rmtree(folder)


@contextmanager
def _bounded() -> Iterator[None]:
    """A life that hangs ends as one that crashed."""

    def hung(_signal: int, _frame: object) -> None:
        raise Hung

    before = signal.signal(signal.SIGPROF, hung)
    signal.setitimer(signal.ITIMER_PROF, LONGEST, AGAIN)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0.0)
        signal.signal(signal.SIGPROF, before)


def shrunk(
    script: Script, rule: str, play: Callable[[Script], Broken] = played, tries: int = 60
) -> Script:
    """The shortest found that breaks `rule` as well."""
    left = tries

    def fails(events: tuple[Event, ...]) -> bool:
        nonlocal left
        left -= 1
        return left >= 0 and any(one == rule for one, _ in play(script.without(events)))

    events, size = script.events, max(len(script.events) // 2, 1)
    while left > 0:
        start, before = 0, len(events)
        while start < len(events) and left > 0:
            shorter = events[:start] + events[start + size :]
            if fails(shorter):
                events = shorter
            else:
                start += size
        if size == 1 and len(events) == before:
            break
        size = max(size // 2, 1)
    return _ended_early(script.without(events), rule, play)


def _ended_early(script: Script, rule: str, play: Callable[[Script], Broken]) -> Script:
    for hours in (3.0, 6.0, 9.0, 13.0, 18.0):
        if hours < script.hours:
            shorter = msgspec.structs.replace(script, hours=hours)
            if any(one == rule for one, _ in play(shorter)):
                return shorter
    return script
