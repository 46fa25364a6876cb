"""The program of the pages steps back for the watch, and goes when it goes."""

from __future__ import annotations

import dataclasses
import os
import signal
import subprocess
import sys
from multiprocessing.connection import Pipe
from pathlib import Path

import pytest

from kuraban.clock import Clock
from kuraban.edges.child_process import END, Passage
from kuraban.runtime.pages_main import serve
from kuraban.runtime.pages_protocol import Start, pack_picture, read_word
from kuraban.settings import Web, load
from tests.edges.web.served import SITE, Served


def test_it_serves_steps_back_and_goes(tmp_path: Path) -> None:
    """Deaf to signals that were meant for the watch; nicer than it, and first to go."""
    served = Served.live(tmp_path)
    settings = dataclasses.replace(served.settings, web=Web(port=0))
    ours, theirs = Pipe()
    child = subprocess.Popen(
        [sys.executable, "-P", "-m", "kuraban.runtime.pages_main", str(theirs.fileno())],
        pass_fds=[theirs.fileno()],
    )
    theirs.close()
    ours.send_bytes(Start(settings, "k" * 64, served.path, Clock().pace).packed())
    assert ours.poll(20)
    port = read_word(ours.recv_bytes()).port
    assert port
    child.send_signal(signal.SIGTERM)
    child.send_signal(signal.SIGINT)
    ours.send_bytes(pack_picture(served.snapshot()))
    assert child.poll() is None
    nice = os.getpriority(os.PRIO_PROCESS, child.pid) - os.getpriority(os.PRIO_PROCESS, 0)
    assert nice == 5 or os.getpriority(os.PRIO_PROCESS, child.pid) == 19
    assert Path(f"/proc/{child.pid}/oom_score_adj").read_text().strip() == "500"
    ours.send_bytes(END)
    assert child.wait(10) == 0


def test_without_a_watch_it_ends(tmp_path: Path) -> None:
    """A watch that was killed leaves no pages behind."""
    ours, theirs = Pipe()
    child = subprocess.Popen(
        [sys.executable, "-P", "-m", "kuraban.runtime.pages_main", str(theirs.fileno())],
        pass_fds=[theirs.fileno()],
    )
    theirs.close()
    ours.close()
    assert child.wait(20) == 0


def test_without_their_libraries_it_says_which_and_ends(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """In one line, not in a traceback every half minute."""
    monkeypatch.setitem(sys.modules, "uvicorn", None)
    for name in [name for name in sys.modules if name.startswith("kuraban.edges.web")]:
        monkeypatch.delitem(sys.modules, name)
    ours, theirs = Pipe()
    start = Start(load(SITE, {}), "k" * 64, tmp_path / "none", Clock().pace)
    assert serve(start, Passage(os.dup(theirs.fileno()))) != 0
    wrong = read_word(ours.recv_bytes()).wrong
    assert wrong == "pages: uvicorn is not installed; pip install 'kuraban[web]'"
