"""A second program beside the watch: it is told the newest, is heard, and never waited for."""

from __future__ import annotations

import json
import os
import signal
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from kuraban.edges.child_process import ChildProcess
from tests.nights import wait

ECHO = """\
import os, sys, time
from kuraban.edges.child_process import END, Passage
passage = Passage(int(sys.argv[1]))
passage.say(b"first " + passage.hear())
while (words := passage.hear()) != END:
    if words == b'"sleep"':
        time.sleep(60)
    passage.say(words)
"""
Make = Callable[[], tuple[ChildProcess[str], list[bytes]]]


@pytest.fixture
def make(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Make]:
    (tmp_path / "echo_beside.py").write_text(ECHO)
    monkeypatch.setenv("PYTHONPATH", os.pathsep.join([str(tmp_path), *sys.path]))
    made: list[ChildProcess[str]] = []

    def start() -> tuple[ChildProcess[str], list[bytes]]:
        heard: list[bytes] = []
        made.append(
            ChildProcess(
                "echo_beside", b"light", lambda what: json.dumps(what).encode(), heard.append
            )
        )
        return made[-1], heard

    yield start
    for child_process in made:
        child_process.stop(1.0)


def test_what_is_laid_down_is_sent_and_what_is_said_is_heard(make: Make) -> None:
    child_process, heard = make()
    child_process.put("tank")
    wait(lambda: heard == [b"first light", b'"tank"'], 10)


def test_a_slow_one_is_told_the_newest_alone(make: Make) -> None:
    """Laying down waits for nobody, and what is old by the time it can be sent is not sent."""
    child_process, heard = make()
    wait(lambda: heard == [b"first light"], 10)
    os.kill(child_process._process.pid, signal.SIGSTOP)
    for number in range(2000):
        child_process.put(f"{number} " + "x" * 10_000)
    child_process.put("newest")
    os.kill(child_process._process.pid, signal.SIGCONT)
    wait(lambda: heard[-1] == b'"newest"', 10)
    assert len(heard) < 1000


def test_at_the_end_it_goes_home(make: Make) -> None:
    child_process, _ = make()
    child_process.stop(10.0)
    assert not child_process.alive


def test_one_that_does_not_go_is_ended(make: Make) -> None:
    child_process, heard = make()
    wait(lambda: heard == [b"first light"], 10)
    child_process.put("sleep")
    child_process.stop(0.5)
    assert not child_process.alive


def test_one_that_dies_is_known_to_be_dead(make: Make) -> None:
    """And laying down does no harm."""
    child_process, heard = make()
    wait(lambda: heard == [b"first light"], 10)
    os.kill(child_process._process.pid, signal.SIGKILL)
    wait(lambda: not child_process.alive, 5)
    child_process.put("tank")
    assert heard == [b"first light"]
