"""Pictures to go with messages: drawn beside the couriers, waited for a moment and no longer.

One thread draws, one picture at a time; several phones that are told the same share it. A drawing
that takes long, or hangs, delays no message: those that come meanwhile go without, and what is
ready later follows. A fault in drawing costs the picture alone.
"""

from __future__ import annotations

import logging
import queue
import time
from collections import OrderedDict
from collections.abc import Callable
from concurrent.futures import Future
from threading import Lock, Thread
from typing import Final

from kuraban.core.effects import Message

WITHIN: Final = 2.0
"""Seconds that a text waits for its picture."""
KEPT: Final = 16
MOST_WAITING: Final = 8

Draw = Callable[[Message], bytes | None]
"""A PNG, or None where there is nothing to show."""
Picture = Future[bytes | None]

log = logging.getLogger("kuraban")


class Pictures:
    """`draw` runs in this one's thread and may take its time."""

    def __init__(self, draw: Draw) -> None:
        self._draw = draw
        self._queue: queue.Queue[tuple[Message, Picture]] = queue.Queue(MOST_WAITING)
        self._known: OrderedDict[tuple[object, ...], Picture] = OrderedDict()
        self._lock = Lock()
        self._since: float | None = None
        self._thread = Thread(target=self._run, name="pictures", daemon=True)
        self._thread.start()

    def of(self, message: Message) -> Picture | None:
        """The picture of a message, ready or to come; None where there is to be none."""
        if message.step != "page" or len(message.alarms) != 1:
            return None
        key = (message.alarms, message.at, message.language)
        with self._lock:
            if key not in self._known:
                picture: Picture = Future()
                try:
                    self._queue.put_nowait((message, picture))
                except queue.Full:
                    return None
                self._known[key] = picture
                while len(self._known) > KEPT:
                    self._known.popitem(last=False)
            return self._known[key]

    def wait(self, picture: Picture) -> bytes | None:
        """The picture if it is ready in time; at once, without, while an earlier one takes long."""
        since = self._since
        patience = WITHIN if since is None else since + WITHIN - time.monotonic()
        try:
            return picture.result(max(patience, 0.0))
        except TimeoutError:
            return None

    def _run(self) -> None:
        while True:
            message, picture = self._queue.get()
            self._since = time.monotonic()
            png = None
            try:
                png = self._draw(message)
            except Exception as error:
                log.warning("no picture of %s (%s: %s)", message.alarms[0], type(error).__name__,
                            error)  # fmt: skip
            self._since = None
            picture.set_result(png)
