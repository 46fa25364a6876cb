"""The program that watches: it holds what the watch needs and nothing else.

Whoever reads a site file and the words of a command line takes libraries of some 20 MB that the
watch never needs again. So `kuraban run` reads the settings, hands them over in a file that lies in
memory alone, and becomes this program: the same process to whoever started it, only smaller. Where
the system knows no such file the watch runs where it was read.

python -m kuraban.runtime.watch_main NUMBER-OF-THE-OPEN-FILE
"""

from __future__ import annotations

import logging
import os
import signal
import sys

from kuraban.core.texts.sanitized_text import plain
from kuraban.errors import JournalError, KurabanError, MachineError, OurError
from kuraban.settings.catalogues import load_words
from kuraban.settings.handover import pack, unpack
from kuraban.settings.model import Settings
from kuraban.settings.systemd_environment import supervision

FAULT, BROKEN, NO_JOURNAL = 2, 1, 3
PRIORITY = {logging.ERROR: 3, logging.WARNING: 4, logging.INFO: 6}
"""The numbers by which systemd's journal knows how grave a line is (sd-daemon(3))."""


def become(settings: Settings) -> None:
    """Watch by `settings` until asked to stop: as a new program, from which nothing returns here,
    or at once where that cannot be had."""
    if sys.platform == "linux":
        file = os.memfd_create("kuraban-settings", 0)
        with open(file, "wb", closefd=False) as stream:
            stream.write(pack(settings))
        os.lseek(file, 0, os.SEEK_SET)
        program = (sys.executable, "-P", "-m", "kuraban.runtime.watch_main", str(file))
        try:
            os.execv(sys.executable, program)
        except OSError:
            os.close(file)
    watch(settings)


def watch(settings: Settings) -> None:
    """Watch until asked to stop; raises what `Watch` raises."""
    from kuraban.edges.supervisor import Supervisor
    from kuraban.runtime.watch import Watch

    asked = supervision()
    log_lines(supervised=asked.socket is not None)
    running = Watch(settings, load_words(), supervisor=Supervisor(*asked))
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: running.stop())
    running.run()


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
    """The watch's own words to standard error, with the time where nobody else adds it."""
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


def main(file: int) -> int:
    """Watch by the settings in the open file of that number; the exit status."""
    with open(file, "rb") as stream:
        settings = unpack(stream.read())
    try:
        watch(settings)
    except KurabanError as error:
        return told(error)
    return 0


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1])))
