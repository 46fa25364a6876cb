"""The program that feeds: it holds what that takes and nothing else, on a board of 64 MB.

python -m kuraban.feed.main NUMBER-OF-THE-OPEN-FILE
"""

from __future__ import annotations

import signal
import sys

import msgspec

from kuraban.edges.standard_error import log_lines, told
from kuraban.edges.supervisor import Supervisor
from kuraban.errors import KurabanError
from kuraban.feed.service import Feed, buses_of
from kuraban.settings import handover
from kuraban.settings.feed_settings import FeedSettings
from kuraban.settings.systemd_environment import supervision


def become(settings: FeedSettings) -> None:
    """Feed by `settings` until asked to stop: as a new program, from which nothing returns here, or
    at once where that cannot be had."""
    handover.become("kuraban.feed.main", settings)
    feed(settings)


def feed(settings: FeedSettings) -> None:
    """Feed until asked to stop; raises what `buses_of` and `Feed` raise."""
    asked = supervision()
    log_lines(supervised=asked.socket is not None)
    running = Feed(settings, buses_of(settings), Supervisor(*asked))
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: running.stop())
    running.run()


def main(file: int) -> int:
    """Feed by the settings in the open file of that number; the exit status."""
    with open(file, "rb") as stream:
        packed = stream.read()
    settings = msgspec.msgpack.decode(packed, type=FeedSettings, dec_hook=handover.special)
    try:
        feed(settings)
    except KurabanError as error:
        return told(error)
    return 0


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1])))
