"""What became of entries, for journals that a test writes without an engine."""

from __future__ import annotations

from kuraban.core.facts import EntryOutcome, Fate, Logged
from kuraban.core.plan.counted_entries import ToldEntry


def became(logged: Logged, fate: Fate = "counted", at: float | None = None) -> EntryOutcome:
    received = logged.received if at is None else at
    return EntryOutcome(logged.subject, logged.id, fate, received)


def told(logged: Logged, fate: Fate = "counted") -> ToldEntry:
    return ToldEntry(logged, became(logged, fate))
