"""What became of the entries of a journal in which that was not written yet.

They are lived through once more, with the houses of their time and the rules of that time: three
kinds of entry waited for a second person then, and no correction did. A refusal that is still known
is believed.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from kuraban.core import entries as e
from kuraban.core.engine.entry_authority import Touch
from kuraban.core.engine.entry_decisions import EntryDecisions
from kuraban.core.engine.entry_handler import KEPT
from kuraban.core.engine.entry_touches import touch_of
from kuraban.core.engine.pending_entries import PendingEntries
from kuraban.core.facts import EntryOutcome, HouseChanged, Logged
from kuraban.core.house_view import HouseView
from kuraban.core.site import from_document
from kuraban.core.units import DAY

WAITED = frozenset({Touch.OUT_OF_SERVICE, Touch.ENDS_EARLY, Touch.STAGE_OUT_OF_TURN})


def past_outcomes(
    told: Iterable[tuple[int, Logged | HouseChanged]],
    refused: Mapping[tuple[str, str], str],
    until: float,
) -> Iterator[tuple[int, EntryOutcome]]:
    """Each outcome with the number of the row after which it was so.

    `told` are the entries and houses with their numbers, in order; `refused` are the reasons that
    are known; `until` is the last moment that the journal knows.
    """
    past: _Past | None = None
    seq = 0
    for seq, fact in told:
        if isinstance(fact, HouseChanged):
            past = past or _Past(fact)
            past.settle_in(fact)
        elif past is not None:
            past.take(fact, refused.get(fact.key))
        if past is not None:
            yield from ((seq, outcome) for outcome in past.told())
    if past is not None:
        past.decisions.lapse(until)
        yield from ((seq, outcome) for outcome in past.told())


class _Past:
    def __init__(self, house: HouseChanged) -> None:
        self.view = HouseView(from_document(house.document), house.received)
        self._told: list[EntryOutcome] = []
        self.decisions = EntryDecisions(self.view, self._told.append, PendingEntries(_touched_then))
        self._pruned = 0.0

    def settle_in(self, house: HouseChanged) -> None:
        self.view.settle_in(from_document(house.document))
        self.view.entry_log.refold()
        self.decisions.tell_changes(house.received)

    def take(self, logged: Logged, refused: str | None) -> None:
        now = max(logged.at, logged.received)
        self.view.entry_log.version += 1  # a batch may have ended by the clock meanwhile
        self.decisions.lapse(now)
        if refused is not None:
            self._told.append(
                EntryOutcome(logged.subject, logged.id, "refused", now, reason=refused)
            )
            return
        ready = self.decisions.weigh(logged, now)
        if ready is not None:
            self.decisions.settle(ready, now)
        if now - self._pruned > DAY:
            self._pruned = now
            self.view.entry_log.prune(now - KEPT)

    def told(self) -> list[EntryOutcome]:
        told, self._told[:] = list(self._told), []
        return told


def _touched_then(logged: Logged, view: HouseView, now: float) -> Touch:
    if isinstance(logged.entry, (e.TakeBack, e.Amend)):
        return Touch.NOTHING
    touch = touch_of(logged, view, now)
    return touch if touch in WAITED else Touch.NOTHING
