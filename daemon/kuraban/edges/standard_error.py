"""What our programs say on standard error, and the exit status that an error comes to."""

from __future__ import annotations

import logging
import sys

from kuraban.core.texts.sanitized_text import plain
from kuraban.errors import JournalError, KurabanError, MachineError, OurError

FAULT, BROKEN, NO_JOURNAL = 2, 1, 3
PRIORITY = {logging.ERROR: 3, logging.WARNING: 4, logging.INFO: 6}
"""The numbers by which systemd's journal knows how grave a line is (sd-daemon(3))."""


class _Plain(logging.Formatter):
    """What strangers sent gives the terminal of whoever reads it no order."""

    def format(self, record: logging.LogRecord) -> str:
        return plain(super().format(record))


class _Graded(_Plain):
    """Each line with the number that systemd's journal reads off it."""

    def format(self, record: logging.LogRecord) -> str:
        grade = PRIORITY.get(record.levelno, 6)
        return "\n".join(f"<{grade}>{line}" for line in super().format(record).splitlines())


def log_lines(*, supervised: bool) -> None:
    """A program's own words to standard error, with the time where nobody else adds it."""
    handler = logging.StreamHandler()
    timed = _Plain("%(asctime)s %(message)s", "%H:%M:%S")
    handler.setFormatter(_Graded("%(message)s") if supervised else timed)
    log = logging.getLogger("kuraban")
    log.handlers = [handler]
    log.setLevel(logging.INFO)
    log.propagate = False


def told(error: KurabanError) -> int:
    """Say an error on standard error; the exit status that it comes to."""
    for line in str(error).splitlines():
        print(plain(line), file=sys.stderr)
    if isinstance(error, OurError):
        print("This is a fault of kuraban itself; please report it.", file=sys.stderr)
    return status_of(error)


def status_of(error: KurabanError) -> int:
    """The exit status that an error comes to."""
    if isinstance(error, JournalError):
        return NO_JOURNAL
    return BROKEN if isinstance(error, (MachineError, OurError)) else FAULT
