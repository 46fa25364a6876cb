"""The program that serves the pages: a process of its own beside the watch, which starts it.

python -m kuraban.runtime.pages_main NUMBER-OF-THE-OPEN-PASSAGE

It goes when the watch goes. Where processor or memory run short, the watch comes first: this one is
nicer, and the first that the system ends.
"""

from __future__ import annotations

import os
import signal
import sys
from contextlib import suppress
from pathlib import Path

from kuraban.clock import Clock
from kuraban.core.facts import Logged
from kuraban.edges.child_process import END, Passage
from kuraban.edges.standard_error import BROKEN, log_lines, status_of
from kuraban.errors import KurabanError
from kuraban.queries.batches.batch_sheet import Batches
from kuraban.queries.setup.unknown_probes import SettingUp
from kuraban.queries.why import Why
from kuraban.runtime.pages_protocol import Start, Word, read_picture
from kuraban.settings.catalogues import load_page_words
from kuraban.settings.systemd_environment import supervision

NICE, FIRST_TO_GO = 5, "500"


def serve(start: Start, passage: Passage) -> int:
    """Show every picture that comes until no more do; the exit status."""
    try:
        from kuraban.edges.web import Pages, SnapshotHub
    except ImportError as error:
        wrong = f"pages: {error.name} is not installed; pip install 'kuraban[web]'"
        passage.say(Word(wrong=wrong).packed())
        return BROKEN
    settings, hub, clock = start.settings, SnapshotHub(), Clock(*start.pace)
    assert settings.web is not None

    def submit(logged: Logged) -> None:
        passage.say(Word(entry=logged).packed())

    try:
        pages = Pages(
            settings.house, settings.web, start.key, load_page_words(), hub, start.history,
            submit, clock, SettingUp(settings), Batches(settings.house, start.history),
            Why(start.history, load_page_words()),
        )  # fmt: skip
        port = pages.start()
    except KurabanError as error:
        passage.say(Word(wrong=str(error)).packed())
        return status_of(error)
    passage.say(Word(port=port).packed())
    while (packed := passage.hear()) != END and pages.alive:
        picture = read_picture(packed)
        clock.not_before(picture.at)
        hub.put(picture)
    pages.stop()
    return 0


def step_back() -> None:
    """Leave the processor, and at the last the memory, to the watch."""
    with suppress(OSError):
        os.nice(NICE)
    with suppress(OSError):
        Path("/proc/self/oom_score_adj").write_text(FIRST_TO_GO)


def main(number: int) -> int:
    for asked in (signal.SIGTERM, signal.SIGINT):
        signal.signal(asked, signal.SIG_IGN)  # the watch says when
    step_back()
    log_lines(supervised=supervision().socket is not None)
    passage = Passage(number)
    first = passage.hear()
    return 0 if first == END else serve(Start.unpacked(first), passage)


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1])))
