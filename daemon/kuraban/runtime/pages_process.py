"""The pages beside the watch: it hands them a picture now and then, and takes what they tell.

They are a process of their own (`kuraban.runtime.pages_main`). Making and sending pages is much
work within one interpreter, and ten phones made a page that must wake somebody half a second late;
and what strangers can reach should not be where the judging is. What goes wrong with the pages is
logged and tried again, and never reaches the watch.
"""

from __future__ import annotations

import logging
import time
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from kuraban.clock import Clock
from kuraban.core.engine.engine import Engine
from kuraban.core.facts import Fact
from kuraban.core.texts.messages import Words
from kuraban.core.views.snapshot import Snapshot
from kuraban.errors import KurabanError
from kuraban.queries.snapshot import Painter
from kuraban.runtime.pages_protocol import Start, pack_picture, read_word
from kuraban.settings import Settings
from kuraban.settings.signing_key import pages_key

if TYPE_CHECKING:
    from kuraban.edges.child_process import ChildProcess
    from kuraban.edges.signing import Signer

Act = Literal["acknowledge", "let-run", "verdict"]

EVERY = 1.0
"""Real seconds between two pictures, at least."""
AGAIN = 30.0
"""Real seconds after which pages that do not listen try again."""
STOPS_WITHIN = 4.0
PROGRAM = "kuraban.runtime.pages_main"

log = logging.getLogger("kuraban")


class PagesProcess:
    """The pages of one watch. All but `link` belongs to the watch's loop."""

    def __init__(
        self,
        settings: Settings,
        words: Words,
        history: Path,
        submit: Callable[[Fact], None],
        clock: Clock,
    ) -> None:
        self._settings = settings
        self._history, self._submit, self._clock = history, submit, clock
        self._painter = Painter(words)
        self._pages: ChildProcess[Snapshot] | None = None
        self._signer: Signer | None = None
        self._hindered = False
        self._painted = self._tried = float("-inf")

    def start(self) -> None:
        """Let the pages begin where the site file says; what hinders them is logged."""
        if self._settings.web is None:
            return
        self._tried, self._hindered = time.monotonic(), False
        try:
            from kuraban.edges.child_process import ChildProcess
            from kuraban.edges.signing import Signer

            key = pages_key(self._settings)
            self._signer = Signer(key)
            first = Start(self._settings, key, self._history, self._clock.pace)
            self._pages = ChildProcess(PROGRAM, first.packed(), pack_picture, self._hear)
        except (KurabanError, ImportError) as error:
            log.error("%s; trying again in %g s", error, AGAIN)

    def link(self, subject: str, condition: str, person: str, act: Act, at: float) -> str | None:
        """A link for a message of `at`; None without pages or a public address. In any thread."""
        where, signer = self._settings.web, self._signer
        if where is None or where.public is None or signer is None:
            return None
        from kuraban.edges.signing import Link

        return f"{where.public}/a/{signer.link(Link(subject, condition, person, act, at))}"

    def after_turn(self, engine: Engine) -> None:
        """Hang a picture of how things stand, at most once a second."""
        now = time.monotonic()
        if self._settings.web is None or now - self._painted < EVERY:
            return
        self._painted = now
        if self._pages is not None and not self._pages.alive:
            self._ended()
        if self._pages is None and now - self._tried >= AGAIN:
            self.start()
        if self._pages is None:
            return
        try:
            snapshot = self._painter.snapshot(engine)
        except Exception:
            log.exception("a fault of ours, please report it; the pages stay as they are")
            return
        if snapshot is not None:
            self._pages.put(snapshot)

    def stop(self) -> None:
        if self._pages is not None:
            self._pages.stop(STOPS_WITHIN)
            self._pages = None

    def _ended(self) -> None:
        assert self._pages is not None
        self._pages.stop(0.0)
        self._pages = None
        if not self._hindered:  # else it said why
            log.error(
                "the pages have ended by themselves; the watch goes on, they begin again soon"
            )

    def _hear(self, packed: bytes) -> None:
        """In a thread of the passage."""
        try:
            word = read_word(packed)
        except KurabanError as error:
            log.error("%s", error)
            return
        if word.entry is not None:
            self._submit(word.entry)
        elif word.wrong is not None:
            self._hindered = True
            log.error("%s; trying again in %g s", word.wrong, AGAIN)
        elif self._settings.web is not None:
            log.info("pages at %s:%d", self._settings.web.host, word.port or 0)
