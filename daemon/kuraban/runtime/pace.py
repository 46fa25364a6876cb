"""Whether the watch keeps up with what is sent, and who it is that sends too much.

A turn that leaves something over, or messages that were let go unread, are nothing by themselves: a
house that comes back from an outage sends for some seconds more than can be judged at once. What
goes on for longer is told, with how old the oldest is that waits and whose most of it is.
"""

from __future__ import annotations

import logging
import time
from collections.abc import Callable

from kuraban.clock import elapsed
from kuraban.core.facts import Part
from kuraban.edges.mqtt.fair_queue import Backlog

AFTER = 10.0
"""Seconds of real time behind after which it is told."""
LEVEL = 5.0
"""Seconds of real time in which nothing was left over: it keeps up again."""
ANEW = 60.0
"""Seconds of real time between two words in the log."""

log = logging.getLogger("kuraban")


class Pace:
    """`fails` is told of the part `intake`; `root` is what the topics begin with."""

    def __init__(self, fails: Callable[[Part, bool, str], None], root: str) -> None:
        self._fails = fails
        self._readings = f"{root}/reading/"
        self._since: float | None = None
        """Since when it has been behind."""
        self._last = 0.0
        """When something was left over last."""
        self._said = float("-inf")
        self._told = False

    def look(self, behind: bool, backlog: Callable[[], Backlog | None]) -> None:
        """After a turn: whether it left something over, or something was let go."""
        if not behind and self._since is None:
            return
        now = time.monotonic()
        if behind:
            self._since = now if self._since is None else self._since
            self._last = now
            if now - self._since > AFTER and now - self._said > ANEW:
                self._said = now
                self._say(backlog())
        elif now - self._last > LEVEL:
            self._since, self._said = None, float("-inf")
            if self._told:
                self._told = False
                log.info("the watch keeps up again with what is sent")
                self._fails("intake", False, "")

    def _say(self, backlog: Backlog | None) -> None:
        if backlog is None:
            return
        lag = max(0.0, elapsed() - backlog.oldest) if backlog.messages else 0.0
        most = backlog.most.removeprefix(self._readings) or "?"
        log.warning(
            "the watch is behind by %.0f s: %d messages with %.1f MB wait, most of them from %s; "
            "whoever sends less is judged first",
            lag, backlog.messages, backlog.size / 1e6, most,
        )  # fmt: skip
        if not self._told:
            self._told = True
            evidence = [f"lag={lag:.0f}"] * (lag >= 1) + [f"most={most.replace(' ', '_')}"]
            self._fails("intake", True, " ".join(evidence))
