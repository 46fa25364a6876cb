"""The keyboard of whoever looks on: each key at once and unseen, and all as it was at the end."""

from __future__ import annotations

import os
import select
import sys
from collections.abc import Iterator
from contextlib import contextmanager

HINT = "Keys: + faster, - slower, n to the next message and on at life's own pace, q ends it."


class Keys:
    """Keys of the terminal `stream`, none where there is no terminal."""

    def __init__(self, stream: int | None = None) -> None:
        self._stream = stream

    def __bool__(self) -> bool:
        return self._stream is not None

    def pressed(self) -> str:
        """What was pressed since it was last asked, never waiting."""
        if self._stream is None or not select.select([self._stream], [], [], 0.0)[0]:
            return ""
        read = os.read(self._stream, 64)
        if not read:  # the terminal has gone
            self._stream = None
        return read.decode("ascii", "ignore")


@contextmanager
def keyboard() -> Iterator[Keys]:
    """The keys of the terminal that this program has in hand, if it has one."""
    if sys.platform == "win32" or not (sys.stdin.isatty() and sys.stdout.isatty()):
        yield Keys()
        return
    import termios
    import tty

    stream = sys.stdin.fileno()
    if os.tcgetpgrp(stream) != os.getpgrp():  # in the background the terminal is another's
        yield Keys()
        return
    before = termios.tcgetattr(stream)
    try:
        tty.setcbreak(stream)
        yield Keys(stream)
    finally:
        termios.tcsetattr(stream, termios.TCSADRAIN, before)
