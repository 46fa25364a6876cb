"""The course of each batch as it was read when the batch began, to be kept beside its entry."""

from __future__ import annotations

import msgspec

from kuraban.core import entries as e
from kuraban.core.effects import Turn
from kuraban.core.engine.engine import Engine
from kuraban.core.facts import Logged, Refusal


class BatchCourses:
    """Batches that began, some of them only at a moment to come."""

    def __init__(self) -> None:
        self._to_start: list[tuple[Logged, str]] = []

    def courses(self, turn: Turn, engine: Engine) -> list[tuple[str, str, str]]:
        """Batch, place and course (JSON) of each that began by the end of this turn."""
        for fact in turn.facts:
            if isinstance(fact, Logged) and isinstance(fact.entry, e.BatchStart):
                self._to_start.append((fact, fact.entry.batch))
        if not self._to_start:
            return []
        refused = {fact.head for fact in turn.facts if isinstance(fact, Refusal)}
        found = []
        for logged, name in [start for start in self._to_start if start[0].at <= turn.now]:
            self._to_start.remove((logged, name))
            batch = engine.view.entry_log.of(logged.subject).batch
            if batch is not None and batch.name == name and logged.id not in refused:
                course = msgspec.json.encode(batch.course).decode()
                found.append((name, logged.subject, course))
        return found
