"""A terminal of somebody's, in which they start a command, press keys and read."""

from __future__ import annotations

import os
import pty
import re
import select
import signal
import subprocess
import time
from pathlib import Path


class Terminal:
    """A terminal of 80 columns without colour in which a command runs, its temporary files in
    `home`."""

    def __init__(self, home: Path, *command: str | Path) -> None:
        self._ours, theirs = pty.openpty()
        env = os.environ | {"COLUMNS": "80", "TMPDIR": str(home), "LANG": "C.UTF-8", "LC_ALL": ""}
        self.process = subprocess.Popen(
            command, env=env | {"TERM": "xterm", "NO_COLOR": "1"},
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
