"""The pages beside the watch: it hands them a picture now and then, and takes what they tell.

What goes wrong with the pages is logged and tried again, and never reaches the watch.
"""

from __future__ import annotations

import logging
import time
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from kuraban.asking.picture import Painter
from kuraban.asking.setting_up import SettingUp
from kuraban.asking.sheet import Batches
from kuraban.core.engine import Engine
from kuraban.core.facts import Fact
from kuraban.core.wording import Words
from kuraban.errors import KurabanError
from kuraban.settings import Settings
from kuraban.settings.keys import pages_key
from kuraban.settings.words import load_page_words

if TYPE_CHECKING:
    from kuraban.edges.pages import Pages

Act = Literal["acknowledge", "let-run", "verdict"]

EVERY = 1.0
"""Real seconds between two pictures, at least."""
AGAIN = 30.0
"""Real seconds after which pages that do not listen try again."""

log = logging.getLogger("kuraban")


class Showing:
    """The pages of one watch. All but `submit` belongs to the watch's loop."""

    def __init__(
        self,
        settings: Settings,
        words: Words,
        history: Path,
        submit: Callable[[Fact], None],
        clock: Callable[[], float],
    ) -> None:
        self._settings = settings
        self._made = (
            history, submit, clock, SettingUp(settings), Batches(settings.house, history)
        )  # fmt: skip
        self._painter = Painter(words)
        self.pages: Pages | None = None
        self._painted = self._tried = float("-inf")

    def start(self) -> None:
        """Listen where the site file says; what hinders it is logged, and tried again later."""
        where = self._settings.pages
        if where is None:
            return
        self._tried = time.monotonic()
        from kuraban.edges.pages import Pages, PictureBoard

        try:
            if self.pages is None:
                house, key = self._settings.house, pages_key(self._settings)
                board = PictureBoard()
                self.pages = Pages(house, where, key, load_page_words(), board, *self._made)
            port = self.pages.start()
        except KurabanError as error:
            log.error("%s; trying again in %g s", error, AGAIN)
            return
        log.info("pages at %s:%d", where.host, port)

    def link(self, subject: str, condition: str, person: str, act: Act, at: float) -> str | None:
        """A link for a message of `at`; None without pages or a public address. In any thread."""
        pages = self.pages
        return None if pages is None else pages.link(subject, condition, person, act, at)

    def after_turn(self, engine: Engine) -> None:
        """Hang a picture of how things stand, at most once a second."""
        now = time.monotonic()
        if now - self._painted < EVERY:
            return
        self._painted = now
        if (self.pages is None or not self.pages.alive) and now - self._tried >= AGAIN:
            self.start()
        if self.pages is None:
            return
        try:
            picture = self._painter.picture(engine)
        except Exception:
            log.exception("a fault of ours, please report it; the pages stay as they are")
            return
        if picture is not None:
            self.pages.board.put(picture)

    def stop(self) -> None:
        if self.pages is not None:
            self.pages.stop()
