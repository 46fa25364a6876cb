"""What the journal says of its entries, for an engine that is built anew.

What became of an entry was decided when it came. Rules may have changed since, and what the probes
said then is forgotten; so an entry that counted counts again, and one that had to wait waits.
"""

from __future__ import annotations

import logging
from collections.abc import Iterator

import msgspec

from kuraban.core import entries as e
from kuraban.core.engine.engine import Engine
from kuraban.core.facts import Logged
from kuraban.core.plan.counted_entries import ToldEntry
from kuraban.core.planned_curve import Course
from kuraban.core.site import from_document
from kuraban.store.history import History

log = logging.getLogger("kuraban")


class PastEntries:
    """The entries behind `history` that were received from `since` on; what became of them as the
    journal knows it now, or as it was `known_by` a moment."""

    def __init__(self, history: History, since: float, known_by: float | None = None) -> None:
        self._history, self._since, self._known_by = history, since, known_by
        self._courses = {(c.batch, c.place): c.course_json for c in history.courses()}
        self._first = {told.logged.key: told for told in history.first_fates(since)}

    def restore(self, engine: Engine, before: float) -> None:
        """Those received before a moment: each that counted once, then those that wait, without
        deciding anew. A fault of ours in one of them is written down and stops nothing."""
        for logged, outcome in self._restored():
            if logged.received >= before or outcome is None:
                continue
            self._keep_course(engine, logged)
            cause = None if outcome.cause is None else self._first.get(outcome.cause)
            by = None if cause is None else cause.logged
            try:
                engine.entry_handler.restore(logged, outcome, by, engine.now)
            except Exception:
                log.exception("a fault of ours, please report it; it came with %s", logged)

    def _restored(self) -> Iterator[ToldEntry]:
        """Each entry with the first outcome by which it counted; then those that wait."""
        last = float("inf") if self._known_by is None else self._known_by
        for told in self._history.first_fates(self._since, counting=True):
            decided = 0.0 if told.outcome is None else told.outcome.received
            if not isinstance(told.logged.entry, e.Confirm) and decided <= last:
                yield told
        for told in self._history.told(None, self._since, float("inf"), self._known_by):
            if told.outcome is not None and told.outcome.fate == "waiting":
                yield told

    def prepare(self, engine: Engine, logged: Logged) -> None:
        """Before an entry is taken that was decided already."""
        self._keep_course(engine, logged)
        first = self._first.get(logged.key)
        if first is not None and first.outcome is not None:
            waited = first.outcome.fate == "waiting"
            engine.entry_handler.pending.decided[logged.key] = waited

    def finish(self, engine: Engine) -> None:
        """All have been taken: none of them is a new one, however old it is."""
        engine.entry_handler.pending.decided.clear()
        engine.entry_handler.known.learn(self._history.ids())

    def _keep_course(self, engine: Engine, logged: Logged) -> None:
        """A batch goes on by the course with which it was started."""
        if isinstance(logged.entry, e.BatchStart):
            course = self._course(logged.entry, logged)
            if course is not None:
                engine.watched.state.entry_log.courses[logged.key] = course

    def _course(self, start: e.BatchStart, logged: Logged) -> Course | None:
        """As it was kept beside its batch, else as the house of that moment had it."""
        kept = self._courses.get((start.batch, logged.subject))
        if kept is not None:
            return msgspec.json.decode(kept, type=Course)
        house = self._history.house(logged.received)
        return None if house is None else from_document(house).course.get(start.course)
