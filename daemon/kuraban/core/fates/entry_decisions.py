"""What becomes of each entry, decided in one place; every change of it is told once.

An entry waits for a second person (`pending_entries`), does not fit what runs, or counts
(`core.plan.entry_log`). Later it is confirmed, taken back, amended, or falls away. Whoever wants to
know how an entry stands reads what is told here, from the journal, and decides nothing.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

from kuraban.core import entries as e
from kuraban.core.alarm_conditions import CONDITIONS
from kuraban.core.facts import EntryOutcome, Fate, Logged
from kuraban.core.fates.pending_entries import PendingEntries
from kuraban.core.house_view import HouseView
from kuraban.core.plan.entry_log import EntryLog
from kuraban.core.plan.subject_state import Refused
from kuraban.core.units import DAY

CORRECTED_WITHIN = 7 * DAY
"""Where no batch hangs on it, an entry is forgotten after that, and is corrected no more."""


class Ready(NamedTuple):
    """An entry that takes effect now, and the other one that let it."""

    logged: Logged
    confirmed: Logged | None = None


class EntryDecisions:
    """Decides about the entries of the house in `view`; `tell` hears what became of each."""

    def __init__(
        self, entry_log: EntryLog, view: HouseView, tell: Callable[[EntryOutcome], None],
        pending: PendingEntries | None = None,
    ) -> None:  # fmt: skip
        self._entry_log, self._view, self._tell = entry_log, view, tell
        self.pending = pending or PendingEntries()

    def weigh(self, logged: Logged, now: float) -> Ready | None:
        """What takes effect with an entry that has come: it, what it confirms, or nothing."""
        entry, pending, house = logged.entry, self.pending, self._view.house
        if isinstance(entry, e.Confirm):
            return self._confirm(logged, now)
        if isinstance(entry, (e.TakeBack, e.Amend)):
            held = self._held(entry.of, logged.subject)
            if held is not None:
                self._correct_held(logged, held, now)
                return None
        held = pending.same(logged, house)
        if held is not None:
            self._told(logged, "repeated", now, held)
            return self._let(held, logged)
        if pending.waits(logged, self._view, now):
            self._told(logged, "waiting", now)
            return None
        return Ready(logged)

    def _held(self, entry_id: str, subject: str) -> Logged | None:
        """What a correction names, if that waits; one about its own subject before all others."""
        held, known = self.pending.find(entry_id, subject), self._entry_log.find(entry_id)
        return held if held is not None and (held.subject == subject or known is None) else None

    def _confirm(self, logged: Logged, now: float) -> Ready | None:
        try:
            held = self.pending.confirmed(logged, self._view.house)
        except Refused as refused:
            self._refuse(logged, now, refused)
            return None
        self._told(logged, "counted", now)
        return self._let(held, logged)

    def _let(self, held: Logged, by: Logged) -> Ready:
        self.pending.release(held)
        return Ready(held, by)

    def _correct_held(self, logged: Logged, held: Logged, now: float) -> None:
        """Whoever sees the slip takes back what waits. It is not amended: else somebody would
        confirm what they have not seen."""
        if isinstance(logged.entry, e.Amend):
            self._refuse(logged, now, Refused(
                f"entry '{held.id}' waits for a second person; take it back, then make the one "
                "that is right"
            ))  # fmt: skip
            return
        self.pending.release(held)
        self._told(logged, "counted", now)
        self._told(held, "taken-back", now, logged)

    def settle(self, ready: Ready, now: float) -> bool:
        """Let an entry take effect; whether it fits."""
        logged, confirmed = ready
        try:
            _check_alarm_names(logged.entry)
            self._entry_log.add(logged, confirmed)
        except Refused as refused:
            self._refuse(logged, now, refused, confirmed)
            return False
        self.tell_changes(now, confirmed or logged)
        return True

    def lapse(self, now: float) -> None:
        """What nobody confirmed within a day falls away."""
        for held in self.pending.lapsed(now):
            self._told(held, "fallen-away", now)

    def tell_changes(self, now: float, cause: Logged | None = None) -> None:
        """Every entry of the log that stands otherwise than was told; `cause` is what made it so,
        None where a house that changed did."""
        for logged, stands in self._entry_log.changes():
            by = stands.cause or (None if cause is None or cause.key == logged.key else cause)
            self._told(logged, stands.fate, now, by, stands.reason, stands.entry)

    def _refuse(
        self, logged: Logged, now: float, refused: Refused, cause: Logged | None = None
    ) -> None:
        self._told(logged, "refused", now, cause, str(refused))

    def _told(
        self, logged: Logged, fate: Fate, now: float, cause: Logged | None = None,
        reason: str = "", entry: e.Entry | None = None,
    ) -> None:  # fmt: skip
        self._tell(
            EntryOutcome(
                subject=logged.subject, id=logged.id, fate=fate, received=now,
                cause=None if cause is None else cause.key, by=None if cause is None else cause.by,
                reason=reason, entry=entry,
            )
        )  # fmt: skip


def _check_alarm_names(entry: e.Entry) -> None:
    condition = getattr(entry, "condition", None)
    if condition is not None and condition not in CONDITIONS:
        raise Refused(f"no condition '{condition}'; they are {', '.join(sorted(CONDITIONS))}")
