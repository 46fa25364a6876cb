"""Where the watch hangs its newest picture, and those who look wait for the next.

`put` is called by the watch's loop and waits for nobody: it swaps one reference and leaves a word
for the pages' own loop. Whoever waits there is woken together.
"""

from __future__ import annotations

import asyncio
from contextlib import suppress
from typing import NamedTuple

from kuraban.core.views.snapshot import Snapshot


class Shown(NamedTuple):
    """A picture and its number, 0 while there is none."""

    number: int
    snapshot: Snapshot | None


class SnapshotHub:
    """One picture, the newest. `put` and `shown` are safe in any thread."""

    def __init__(self) -> None:
        self._shown = Shown(0, None)
        self._loop: asyncio.AbstractEventLoop | None = None
        self._waiting: list[asyncio.Future[None]] = []
        self._closed = False

    def put(self, snapshot: Snapshot) -> None:
        """Hang a newer picture."""
        self._shown = Shown(self._shown.number + 1, snapshot)
        self._rouse()

    def shown(self) -> Shown:
        return self._shown

    @property
    def snapshot(self) -> Snapshot | None:
        return self._shown.snapshot

    @property
    def closed(self) -> bool:
        return self._closed

    def open(self, loop: asyncio.AbstractEventLoop) -> None:
        """Those who wait do so in this loop from now on."""
        self._loop, self._closed = loop, False

    def close(self) -> None:
        """Nobody waits any longer; safe in any thread."""
        self._closed = True
        self._rouse()

    async def after(self, number: int, within: float) -> Shown:
        """The first picture with a higher number, or the present one after `within` seconds."""
        if self._shown.number <= number and not self._closed:
            waiter = asyncio.get_running_loop().create_future()
            self._waiting.append(waiter)
            with suppress(TimeoutError):
                await asyncio.wait_for(waiter, within)
        return self._shown

    def _rouse(self) -> None:
        loop = self._loop
        if loop is not None:
            with suppress(RuntimeError):  # the loop has ended
                loop.call_soon_threadsafe(self._wake)

    def _wake(self) -> None:
        waiting, self._waiting = self._waiting, []
        for waiter in waiting:
            if not waiter.done():
                waiter.set_result(None)
