"""A second program of ours beside the watch, a process of its own, and the passage to it.

The watch waits for nobody. What it lays down is sent by a thread that may wait, and only the newest
is; what the other says is heard by another thread. The other program ends when the passage does: it
outlives the watch by no more than that.
"""

from __future__ import annotations

import subprocess
import sys
import threading
from collections.abc import Callable
from contextlib import suppress
from multiprocessing.connection import Connection, Pipe
from typing import Generic, TypeVar

from kuraban.errors import MachineError

What = TypeVar("What")
END = b""
"""After this word the other program goes home."""


class ChildProcess(Generic[What]):
    """One run of `module`, which is given the number of its end of the passage.

    `first` is its first message. `hear` gets whatever it says, in a thread, and must not raise.
    The constructor raises MachineError where no process can be had.
    """

    def __init__(
        self, module: str, first: bytes, encode: Callable[[What], bytes],
        hear: Callable[[bytes], None],
    ) -> None:  # fmt: skip
        self._encode, self._hear = encode, hear
        self._newest: What | None = None
        self._ending = False
        self._news = threading.Condition()
        self._passage, theirs = Pipe()
        command = [sys.executable, "-P", "-m", module, str(theirs.fileno())]
        try:
            self._process = subprocess.Popen(
                command, pass_fds=[theirs.fileno()], stdin=subprocess.DEVNULL,
                start_new_session=True,
            )  # fmt: skip
        except OSError as error:
            self._passage.close()
            raise MachineError(f"{module}: no process can be had: {error.strerror}") from error
        finally:
            theirs.close()
        name = module.rpartition(".")[2]
        self._threads = [
            threading.Thread(target=self._speak, args=(first,), name=f"to {name}", daemon=True),
            threading.Thread(target=self._listen, name=f"from {name}", daemon=True),
        ]
        for thread in self._threads:
            thread.start()

    @property
    def alive(self) -> bool:
        return self._process.poll() is None

    def put(self, what: What) -> None:
        """Lay down something newer; it is sent when there is time."""
        with self._news:
            self._newest = what
            self._news.notify()

    def stop(self, within: float) -> None:
        """Ask it to end, and see that it does."""
        with self._news:
            self._ending = True
            self._news.notify()
        try:
            self._process.wait(within)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()
        for thread in self._threads:
            thread.join(within)
        self._passage.close()

    def _speak(self, first: bytes) -> None:
        with suppress(OSError):  # it has gone, which `alive` tells
            self._passage.send_bytes(first)
            while (what := self._next()) is not None:
                self._passage.send_bytes(self._encode(what))
            self._passage.send_bytes(END)

    def _next(self) -> What | None:
        with self._news:
            while self._newest is None and not self._ending:
                self._news.wait()
            what, self._newest = self._newest, None
            return None if self._ending else what

    def _listen(self) -> None:
        with suppress(EOFError, OSError):
            while True:
                self._hear(self._passage.recv_bytes())


class Passage:
    """The other program's end. `say` is safe in any thread."""

    def __init__(self, number: int) -> None:
        self._passage = Connection(number)
        self._one = threading.Lock()

    def hear(self) -> bytes:
        """The next message, END when there will be none."""
        try:
            return self._passage.recv_bytes()
        except (EOFError, OSError):
            return END

    def say(self, words: bytes) -> None:
        """Nobody hears them any more if the watch has gone."""
        with self._one, suppress(OSError):
            self._passage.send_bytes(words)
