"""Telling systemd how the watch is (sd_notify(3)): one datagram of NAME=VALUE lines.

Without a socket every call is nothing. A lost datagram is nothing either: if the supervisor cannot
be told that the watch is well, it will find out by itself.
"""

from __future__ import annotations

import socket
import time
from contextlib import suppress


class Supervisor:
    """`path` as in NOTIFY_SOCKET, an "@" for an abstract one, None without a supervisor.

    `watchdog` is the time, seconds, within which a good turn must be told; None where not wanted.
    """

    def __init__(self, path: str | None, watchdog: float | None = None) -> None:
        self._address = "\0" + path[1:] if path and path.startswith("@") else path
        self._watchdog = watchdog
        self._ready = False
        self._petted = float("-inf")

    @property
    def pet_every(self) -> float | None:
        """Seconds between two good turns that keep the supervisor content: half its patience."""
        return None if self._watchdog is None else self._watchdog / 2

    def pet(self, status: str) -> None:
        """A good turn is over: ready with the first, and told often enough from then on."""
        now = time.monotonic()
        if not self._ready:
            self._ready = True
            self.ready(status)
        every = self.pet_every
        if every is not None and now - self._petted >= every / 2:
            self._petted = now
            self.good_turn()

    def ready(self, status: str = "") -> None:
        """The watch watches."""
        self._tell("READY=1", f"STATUS={_one_line(status)}")

    def good_turn(self) -> None:
        """A turn was decided, committed and answered."""
        if self._watchdog is not None:
            self._tell("WATCHDOG=1")

    def status(self, status: str) -> None:
        """One line for `systemctl status`."""
        self._tell(f"STATUS={_one_line(status)}")

    def stopping(self) -> None:
        """The watch was asked to end and is doing so."""
        self._tell("STOPPING=1")

    def _tell(self, *lines: str) -> None:
        if not self._address:
            return
        with suppress(OSError), socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as sock:
            sock.setblocking(False)
            sock.sendto("\n".join(lines).encode(), self._address)


def _one_line(text: str) -> str:
    return " ".join(text.split())
