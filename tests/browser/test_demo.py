"""The demo as a visitor uses it: the link in a browser, a tap there, the answer on the terminal."""

from __future__ import annotations

import os
import pty
import re
import select
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser

KURABAN = Path(sys.executable).parent / "kuraban"


class Terminal:
    """A terminal of 80 columns in which the demo runs."""

    def __init__(self, home: Path, *options: str) -> None:
        self._ours, theirs = pty.openpty()
        env = os.environ | {"COLUMNS": "80", "TMPDIR": str(home), "LANG": "C.UTF-8", "LC_ALL": ""}
        self.process = subprocess.Popen(
            [KURABAN, "demo", *options], env=env | {"TERM": "xterm", "NO_COLOR": "1"},
            stdin=theirs, stdout=theirs, stderr=theirs, start_new_session=True,
            preexec_fn=lambda: os.close(os.open(os.ttyname(0), os.O_RDWR)),  # make it ours
        )  # fmt: skip
        os.close(theirs)
        self.said = ""

    def press(self, key: str) -> None:
        os.write(self._ours, key.encode())

    def until(self, words: str, within: float = 60.0) -> str:
        """What was said up to these words, which are left in `said`."""
        deadline = time.monotonic() + within
        while not (found := re.search(words, self.said)):
            assert time.monotonic() < deadline, f"{words} not in:\n{self.said}"
            if select.select([self._ours], [], [], 0.2)[0]:
                self.said += os.read(self._ours, 65536).decode("utf-8", "replace")
        return found.group()

    def close(self) -> None:
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGKILL)
        self.process.wait()
        os.close(self._ours)


@pytest.fixture
def terminal(tmp_path: Path) -> Iterator[Terminal]:
    opened = Terminal(tmp_path, "--night", "koji")
    yield opened
    opened.close()


@pytest.mark.slow
def test_a_visitor_goes_on_to_the_ring_and_answers_it_on_the_pages(
    terminal: Terminal, chrome: Browser, tmp_path: Path
) -> None:
    """Opened in the evening, answered at night by a tap; whoever has it is seen on the terminal."""
    at = terminal.until(r"http://127\.0\.0\.1:\d+/")
    page = chrome.new_page(viewport={"width": 360, "height": 740})
    page.goto(at)
    page.locator("select[name=person]").select_option("ken")
    page.locator("form[action='/who'] button").click()
    terminal.until("Keys: ")
    while "Koji room heater stopped 23:29" not in terminal.said:
        terminal.said = ""
        terminal.press("n")
        terminal.until("at life's own pace\\)")
    page.locator("#ring-heater-1-stopped button.main").click()
    terminal.until(r"23:[34]\d\S*\s+\S*Ken answers: I have it \(Koji room heater\)", within=15)
    assert page.locator("#ring-heater-1-stopped", has_text="Ken").count() == 1
    assert not re.search(r"\x1b\[(3\d|9\d|38)", terminal.said), "there is colour"
    terminal.press("q")
    assert terminal.process.wait(20) == 0
    assert list(tmp_path.iterdir()) == []
    page.close()
