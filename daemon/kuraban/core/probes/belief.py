"""Whether a probe can be believed, and why not: the one place that decides and writes it.

Detectors tell what they concluded about a probe, by the words below. A probe is a measure while
nothing speaks against it. The product of a place follows at once: when a probe becomes a measure or
ceases to be one, its place is reckoned anew in the same moment.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

from kuraban.core.probes.probe_state import PlaceState, ProbeState
from kuraban.core.probes.probe_view import Reason

SILENT = frozenset[Reason]({"silent"})
STEP = frozenset[Reason]({"step"})


class Suspected(NamedTuple):
    """From `at` on, `why` speaks against a probe."""

    probe: str
    why: Reason
    at: float


class Cleared(NamedTuple):
    """From `at` on, `why` speaks against a probe no more."""

    probe: str
    why: Reason
    at: float


class Understood(NamedTuple):
    """The step in doubt was the product's: what the probe said meanwhile is part of the record."""

    probe: str
    at: float


class Lapsed(NamedTuple):
    """What a place is known by grew old: no probe of it answers any more."""

    place: str
    at: float


BeliefWord = Suspected | Cleared | Understood | Lapsed


class Belief:
    """The only owner of what speaks against each probe of a house."""

    def __init__(
        self, probe_states: Mapping[str, ProbeState], places: Mapping[str, PlaceState]
    ) -> None:
        self._probe_states = probe_states
        self._places = places

    def take(self, word: BeliefWord) -> None:
        """What a detector concluded; of a probe or place that is gone it is nothing."""
        match word:
            case Suspected(probe, why, at):
                self._now(probe, self._against(probe) | {why}, at)
            case Cleared(probe, why, at):
                self._now(probe, self._against(probe) - {why}, at)
            case Understood(probe, at):
                place = self._place_of(probe)
                if place is not None:
                    place.revised += 1
                self._now(probe, self._against(probe) - STEP, at)
            case Lapsed(name, at):
                if name in self._places:
                    self._places[name].refresh(at)

    def answers(self, probe: str) -> None:
        """It was heard: it is not silent. Whoever heard it reckons its place anew."""
        probe_state = self._probe_states[probe]
        probe_state.suspect -= SILENT

    def _against(self, probe: str) -> frozenset[Reason]:
        known = self._probe_states.get(probe)
        return frozenset() if known is None else known.suspect

    def _now(self, probe: str, against: frozenset[Reason], at: float) -> None:
        probe_state = self._probe_states.get(probe)
        if probe_state is None:
            return
        turns = bool(against) != bool(probe_state.suspect)
        probe_state.suspect = against
        place = self._place_of(probe) if turns else None
        if place is not None:
            place.refresh(at)

    def _place_of(self, probe: str) -> PlaceState | None:
        """The place whose product it measures."""
        known = self._probe_states.get(probe)
        if known is None or known.probe.measures != "product":
            return None
        return self._places.get(known.probe.of)
