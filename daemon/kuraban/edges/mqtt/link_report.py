"""What befalls the link to the broker: each told once, until something else is to be told."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from typing import Literal, NamedTuple

LinkKind = Literal["connected", "refused", "lost", "deaf", "full", "fault", "stopped"]


class LinkEvent(NamedTuple):
    """One thing that befell the link, told once until it changes.

    `deaf` is connected but kept from hearing (a subscription refused, or nothing let through);
    `full` a message dropped unanswered for want of room; `fault` an exception of ours, caught.
    """

    kind: LinkKind
    at: float
    reason: str


class LinkReport:
    """Tells `on_event`, at the elapsed seconds of `clock`. What it raises is swallowed."""

    def __init__(self, clock: Callable[[], float], on_event: Callable[[LinkEvent], None]) -> None:
        self._clock, self._on_event = clock, on_event
        self._told: tuple[str, str] = ("", "")

    @property
    def reason(self) -> str:
        """What was told last, "" while nothing has been."""
        return self._told[1]

    def tell(self, kind: LinkKind, reason: str) -> None:
        if self._told == (kind, reason):
            return
        self._told = (kind, reason)
        with suppress(Exception):
            self._on_event(LinkEvent(kind, self._clock(), reason))
