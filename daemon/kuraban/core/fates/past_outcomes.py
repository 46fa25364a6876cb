"""What became of the entries of a journal in which that was not written yet.

They are lived through once more, with the houses of their time and the rules of that time: three
kinds of entry waited for a second person then, and no correction did. A refusal that is still known
is believed.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

import msgspec

from kuraban.core import entries as e
from kuraban.core.facts import ClockStepped, EntryOutcome, HouseChanged, Logged
from kuraban.core.fates.entry_authority import Touch
from kuraban.core.fates.entry_decisions import CORRECTED_WITHIN, EntryDecisions
from kuraban.core.fates.pending_entries import WAITS, PendingEntries
from kuraban.core.house_state import HouseState
from kuraban.core.house_view import HouseView
from kuraban.core.site import House, from_document
from kuraban.core.timescale import Pieces, redated
from kuraban.core.units import DAY

WAITED = frozenset({Touch.OUT_OF_SERVICE, Touch.ENDS_EARLY, Touch.STAGE_OUT_OF_TURN})


def past_outcomes(
    told: Iterable[tuple[int, Logged | HouseChanged | ClockStepped]],
    refused: Mapping[tuple[str, str], str],
    until: float,
) -> Iterator[tuple[int, EntryOutcome]]:
    """Each outcome with the number of the row after which it was so.

    `told` are entries, houses and steps of the clock with their numbers, in order; `refused` are
    the reasons that are known; `until` is the last moment that the journal knows.
    """
    past: _Past | None = None
    seq = 0
    for seq, fact in told:
        if isinstance(fact, HouseChanged):
            past = past or _Past(fact)
            past.settle_in(from_document(fact.document), fact.received)
        elif past is None:
            continue
        elif isinstance(fact, ClockStepped):
            past.step(fact)
        else:
            past.take(fact, refused.get(fact.key))
        yield from ((seq, outcome) for outcome in past.told())
    if past is not None:
        past.lapse(until)
        yield from ((seq, outcome) for outcome in past.told())


class _Past:
    def __init__(self, house: HouseChanged) -> None:
        self._state = HouseState(from_document(house.document), house.received)
        self._entry_log = self._state.entry_log
        self._told: list[EntryOutcome] = []
        self.decisions = EntryDecisions(
            self._entry_log, HouseView(self._state), self._told.append,
            PendingThen(),
        )  # fmt: skip
        self._pruned = 0.0
        self._clock: Pieces = ()

    def settle_in(self, house: House, now: float) -> None:
        self._state.settle_in(msgspec.structs.replace(house, clock=self._clock))
        self._entry_log.refold()
        self.decisions.tell_changes(now)

    def step(self, fact: ClockStepped) -> None:
        self._clock = redated(self._clock, fact)
        self.settle_in(self._state.house, fact.received)

    def take(self, logged: Logged, refused: str | None) -> None:
        now = max(logged.at, logged.received)
        self._entry_log.version += 1  # a batch may have ended by the clock meanwhile
        self.lapse(now)
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
            self._entry_log.prune(now - CORRECTED_WITHIN)

    def lapse(self, now: float) -> None:
        """What nobody confirmed has fallen away at its own hour."""
        ends = sorted(held.logged.received + WAITS for held in self.decisions.pending.held.values())
        for end in ends:
            if end <= now:
                self.decisions.lapse(end)

    def told(self) -> list[EntryOutcome]:
        told, self._told[:] = list(self._told), []
        return told


class PendingThen(PendingEntries):
    """By the rules of that time."""

    def touch(self, logged: Logged, view: HouseView, now: float) -> Touch:
        if isinstance(logged.entry, (e.TakeBack, e.Amend)):
            return Touch.NOTHING
        touch = super().touch(logged, view, now)
        return touch if touch in WAITED else Touch.NOTHING
