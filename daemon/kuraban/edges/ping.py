"""A sign of life to somewhere outside, so that somebody notices when this whole house falls silent.

The far end (any service that expects a call every so often and pages when it stays away) is the
house's own choice. The call goes out only after a good turn of the watch, and not while nobody can
be paged: then the far end is to ring. It has a thread of its own and delays nothing.
"""

from __future__ import annotations

import logging
import time
from collections.abc import Callable
from threading import Event, Thread
from typing import Final
from urllib.error import HTTPError
from urllib.request import Request, urlopen

ANSWER_WITHIN: Final = 10.0
FAILED_SOON: Final = 60.0
"""Seconds until the next try after a call that failed, if that is sooner."""

log = logging.getLogger("kuraban")


def call(address: str) -> str:
    """One GET; empty if the far end answered well, else why not, without the address."""
    request = Request(address, headers={"User-Agent": "kuraban"})
    try:
        with urlopen(request, timeout=ANSWER_WITHIN) as answer:
            answer.read(64)
    except HTTPError as refused:
        return f"it answered {refused.code}"
    except (OSError, ValueError) as failed:
        return f"it was not reached ({type(failed).__name__})"
    return ""


class Ping:
    """Calls `address` every `every` seconds while `well` is called in between."""

    def __init__(self, address: str, every: float, *, send: Callable[[str], str] = call) -> None:
        self._address, self._every, self._send = address, every, send
        self._well = False
        self._stopping = Event()
        self._failing = ""
        self._thread = Thread(target=self._run, name="ping", daemon=True)

    @property
    def failing(self) -> str:
        """Why the last call failed, empty if it did not."""
        return self._failing

    def start(self) -> None:
        self._thread.start()

    def well(self) -> None:
        """A good turn was decided, committed and answered. Never blocks."""
        self._well = True

    def stop(self) -> None:
        """No further call; one that is under way is left behind."""
        self._stopping.set()

    def _run(self) -> None:
        due = time.monotonic()
        while not self._stopping.wait(max(min(due - time.monotonic(), self._every), 0.05)):
            if time.monotonic() < due or not self._well:
                continue
            self._well = False
            self._tell(self._send(self._address))
            again = min(self._every, FAILED_SOON) if self._failing else self._every
            due = time.monotonic() + again

    def _tell(self, reason: str) -> None:
        """Into the log once for each change."""
        if reason and not self._failing:
            log.warning("the sign of life did not get out: %s; trying on", reason)
        elif self._failing and not reason:
            log.info("the sign of life gets out again")
        self._failing = reason
