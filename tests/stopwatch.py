"""How long something took, in seconds of a machine that has nothing else to do.

A bound in seconds fails on a busy machine for no fault of ours, and a wide one sees nothing. So a
process beside that does nothing but count is given a share of the time, and by that share the time
is told: where it got half, ten seconds were five.
"""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path

COUNTS = """
import os, time
whose = os.getppid()
while os.getppid() == whose and time.process_time() < 60: pass
"""
LEAST = 0.02
TICK = os.sysconf("SC_CLK_TCK")


class Stopwatch:
    """Runs from its making until it is read, once."""

    def __init__(self) -> None:
        self._beside = subprocess.Popen([sys.executable, "-I", "-S", "-c", COUNTS])
        self._given, self._began = self._worked(), time.monotonic()

    def __del__(self) -> None:
        self._beside.kill()
        self._beside.wait()

    def read(self) -> float:
        """Seconds, of an idle machine."""
        return (time.monotonic() - self._began) * self.share()

    def share(self) -> float:
        """Of the time of one processor, for whoever wants all of it."""
        given = self._worked() - self._given
        return min(max(given / (time.monotonic() - self._began), LEAST), 1.0)

    def _worked(self) -> float:
        """Seconds of a processor that the process beside was given."""
        fields = Path(f"/proc/{self._beside.pid}/stat").read_text().rpartition(")")[2].split()
        return (int(fields[11]) + int(fields[12])) / TICK
