"""The pen: each turn into the journal, or kept in memory until it can be written again."""

from __future__ import annotations

import logging
import time
from collections.abc import Sequence

import msgspec

from kuraban.core.effects import Turn
from kuraban.core.facts import Reading, Record
from kuraban.errors import JournalError
from kuraban.store.connection import damaged
from kuraban.store.journal import Checkpoint, Journal, set_aside

MOST_HELD = 200_000
"""Facts kept in memory while the journal fails; beyond them the oldest readings are given up."""
FIRST_PAUSE, LONGEST_PAUSE = 3.0, 60.0
"""Seconds of real time between two tries; they double while the journal fails again and again."""
STEADY = 600.0

log = logging.getLogger("kuraban")

Courses = Sequence[tuple[str, str, str]]


class JournalWriter:
    """Writes into `journal`, which it owns from here on."""

    def __init__(self, journal: Journal) -> None:
        self.journal = journal
        self.failing = ""
        """Why the journal cannot be written, empty while it can."""
        self.renewed = False
        """The journal was damaged, and this is a new one."""
        self.given_up = 0
        self._held: Turn | None = None
        self._courses: list[tuple[str, str, str]] = []
        self._pause = FIRST_PAUSE
        self._next_try = 0.0
        self._well_since = time.monotonic()
        self._broken = False

    def write(
        self, turn: Turn, checkpoint: Checkpoint | None = None, courses: Courses = ()
    ) -> bool:
        """Whether this turn and all before it are on the disk now."""
        if self._held is None and not self.failing:
            return self._commit(turn, checkpoint, courses)
        self._hold(turn, courses)
        return time.monotonic() >= self._next_try and self.try_again()

    def try_again(self) -> bool:
        """Write what is held, if anything is."""
        if self.failing and not self._mended():
            return False
        held = self._held
        if held is None:
            return True
        courses, self._held, self._courses = self._courses, None, []
        return self._commit(held, None, courses)

    def _commit(self, turn: Turn, checkpoint: Checkpoint | None, courses: Courses) -> bool:
        try:
            self.journal.commit(turn, checkpoint, courses)
        except Exception as error:
            if not isinstance(error, JournalError):
                log.exception("a fault of ours, please report it")
            self._hold(turn, courses)
            self._fail(error)
            return False
        if self.failing:
            self.failing, self._well_since = "", time.monotonic()
        return True

    def _fail(self, error: Exception) -> None:
        now = time.monotonic()
        if not self.failing and now - self._well_since > STEADY:
            self._pause = FIRST_PAUSE
        self.failing = str(error)
        self._next_try = now + self._pause
        self._pause = min(self._pause * 2, LONGEST_PAUSE)
        self._broken = self._broken or (isinstance(error, JournalError) and damaged(error))

    def _mended(self) -> bool:
        """A journal that turned out damaged is set aside, and a new one begun."""
        if not self._broken:
            return True
        try:
            self.journal.close()
            aside = set_aside(self.journal.path)
            log.error("the journal is damaged; it was set aside as %s", aside)
            self.journal = Journal.open(self.journal.path)
        except JournalError as error:
            self._fail(error)
            return False
        self._broken, self.renewed = False, True
        return True

    def _hold(self, turn: Turn, courses: Courses) -> None:
        self._courses.extend(courses)
        held = self._held
        if held is None:
            self._held = msgspec.structs.replace(
                turn, facts=[*turn.facts], story=[*turn.story], withdrawn=[*turn.withdrawn]
            )
            return
        held.now = turn.now
        held.facts.extend(turn.facts)
        told = len(held.story)
        held.withdrawn.extend((told + before, alarm) for before, alarm in turn.withdrawn)
        held.story.extend(turn.story)
        held.conflicts += turn.conflicts
        if len(held.facts) > MOST_HELD:
            held.facts = self._lightened(held.facts)

    def _lightened(self, facts: list[Record]) -> list[Record]:
        """Without the older half of the readings: whoever cannot write must forget something."""
        half = len(facts) // 2
        kept = [fact for fact in facts[:half] if not isinstance(fact, Reading)]
        self.given_up += half - len(kept)
        log.error("the journal fails for too long: %d readings are lost so far", self.given_up)
        return kept + facts[half:]

    def close(self) -> None:
        self.journal.close()
