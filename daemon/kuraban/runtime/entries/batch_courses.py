"""The course of each batch as it was read when the batch began, to be kept beside its entry.

It stays the batch's: an edited course file changes no batch that runs.
"""

from __future__ import annotations

import msgspec

from kuraban.core import entries as e
from kuraban.core.effects import Turn
from kuraban.core.engine.engine import Engine
from kuraban.core.facts import EntryOutcome


def begun(turn: Turn, engine: Engine) -> list[tuple[str, str, str]]:
    """Batch, place and course (JSON) of each batch that began in this turn, or whose beginning was
    put right."""
    entry_log, found = engine.watched.state.entry_log if engine.started else None, []
    for fact in turn.facts:
        if entry_log is None or not isinstance(fact, EntryOutcome) or not fact.counts:
            continue
        course = entry_log.courses.get(fact.key)
        logged = next((one for one in entry_log.about(fact.subject) if one.key == fact.key), None)
        if course is not None and logged is not None and isinstance(logged.entry, e.BatchStart):
            told = msgspec.json.encode(course).decode()
            found.append((logged.entry.batch, fact.subject, told))
    return found
