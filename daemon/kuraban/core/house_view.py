"""What every detector can see, and the one way in which it tells what it found.

A detector looks when something it listens to changed and when the time comes that it asked for.
It keeps what it must remember in itself, reads the world, and tells findings; it neither raises
nor clears an alarm, and it never learns what time it is but by the argument.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, NamedTuple

from kuraban.core.course import FAR_FUTURE
from kuraban.core.plan.entry_log import EntryLog
from kuraban.core.plan.subject_state import Batch
from kuraban.core.probes.probe_state import (
    CHECK_COUNTS,
    CHECK_COUNTS_ELSE,
    KEPT,
    KEPT_BRIEFLY,
    PlaceState,
    ProbeState,
)
from kuraban.core.site import House, Place
from kuraban.core.units import HOUR

_NONE: list[ProbeState] = []


class Finding(NamedTuple):
    """Whether a condition of a subject holds. `at` is when that came to be decided."""

    subject: str
    condition: str
    holds: bool
    at: float
    value: float | None = None
    planned: float | None = None
    since: float | None = None
    """When the subject truly left what is right, before any delay."""
    evidence: tuple[str, ...] = ()
    worse: float | None = None
    """How far beyond what is right, in the subject's unit; grows as it gets worse."""


class Served(NamedTuple):
    """A place that somebody wants kept at a temperature, and the valves that ask for it."""

    place: str
    batch: Batch | None
    valves: list[ProbeState]


class HouseView:
    """The house, its books and its senses. `tell` is where findings go."""

    def __init__(self, house: House, started: float) -> None:
        self.house = house
        self.started = started
        self.entry_log = EntryLog(house)
        self.probe_states: dict[str, ProbeState] = {}
        self.places: dict[str, PlaceState] = {}
        self.tell: Callable[[Finding], None] = lambda finding: None
        self.remark: Callable[[str, str, float, float], None] = lambda *remark: None
        """Something worth a notice that is no alarm: subject, what, value, when."""
        self.standing: set[tuple[str, str]] = set()
        """Conditions that hold now, by subject and name."""
        self.blind = 0.0
        """Until then silence means nothing: the watch itself was away, or is just back."""
        self.dusk = False
        """So many probes fell silent together that each alone means nothing yet."""
        self.tracks: dict[str, Any] = {}
        """The differences of each place from its plan, in steps, as `core.drift` keeps them."""
        self.outlooks: dict[str, Any] = {}
        """What each place's own warm-ups told for the last ten minutes asked of, and of when."""
        self._by_measure: dict[tuple[str, str], list[ProbeState]] = {}
        self._version = -1
        self._batches: dict[str, Batch | None] = {}
        self._judged: dict[str, bool] = {}
        self._calling: dict[str, list[Served]] = {}
        self._served: dict[str, list[str]] = {}
        self._keepers = -1
        self._rooms: dict[str, list[str]] = {}
        self.settle_in(house)

    def settle_in(self, house: House) -> None:
        """Take over a house, new or changed; what its probes said before is kept."""
        self.house = self.entry_log.house = house
        old = self.probe_states
        self.probe_states = {}
        for probe in house.probes:
            probe_state = old.get(probe.id)
            if (
                probe_state is None
                or probe_state.probe.of != probe.of
                or probe_state.probe.measures != probe.measures
            ):
                probe_state = ProbeState(probe)
            probe_state.settle(probe)
            self.probe_states[probe.id] = probe_state
        places = {}
        for place in house.places:
            products = [
                self.probe_states[probe.id] for probe in house.probes_of(place.id, "product")
            ]
            for probe_state in products:
                probe_state.series.kept = KEPT if len(products) == 1 else KEPT_BRIEFLY
            known = self.places.get(place.id)
            if known is None or known.products != products:
                known = PlaceState(place, products)
            known.place = place
            places[place.id] = known
        self.places = places
        self._rooms = {}
        for place in house.places:
            if place.room is not None:
                self._rooms.setdefault(place.room, []).append(place.id)
        self._by_measure = {}
        for probe in house.probes:
            listed = self._by_measure.setdefault((probe.of, probe.measures), [])
            listed.append(self.probe_states[probe.id])
        self.entry_log.version += 1
        self.entry_log.keepers += 1

    def _forget(self) -> None:
        """The books have changed since this was derived from them."""
        self._version = self.entry_log.version
        self._batches.clear()
        self._judged.clear()
        self._calling.clear()

    def batch(self, place: str, now: float) -> Batch | None:
        """The batch that runs in a place; one that ends by the clock does so in the books."""
        if self._version != self.entry_log.version:
            self._forget()
        if place not in self._batches:
            self._batches[place] = self.entry_log.batch(place, now)
        return self._batches[place]

    def served(self, cooler: str) -> list[str]:
        """The places that a cooler or heater serves now."""
        if self._keepers != self.entry_log.keepers:
            self._keepers = self.entry_log.keepers
            self._served = {}
            for place in self.house.places:
                for one in self.entry_log.serving(place.id):
                    self._served.setdefault(one, []).append(place.id)
        return self._served.get(cooler, [])

    def calling(self, cooler: str, now: float) -> list[Served]:
        """What a cooler or heater serves now of what is judged."""
        if self._version != self.entry_log.version:
            self._forget()
        found = self._calling.get(cooler)
        if found is None:
            judged = [place for place in self.served(cooler) if self.place_judged(place, now)]
            found = self._calling[cooler] = [
                Served(place, self.batch(place, now), self.hanging(place, "valve"))
                for place in judged
            ]
        return found

    def standing_in(self, room: str) -> list[str]:
        """The places that stand in a room."""
        return self._rooms.get(room, [])

    def hanging(self, subject: str, measure: str) -> list[ProbeState]:
        """What hangs on a place or cooler and measures this."""
        return self._by_measure.get((subject, measure), _NONE)

    def in_service(self, subject: str) -> bool:
        return subject not in self.entry_log.out

    def place_judged(self, place: str, now: float) -> bool:
        """A batch runs there, or it has a band; and it is in service."""
        if self._version != self.entry_log.version:
            self._forget()
        known = self._judged.get(place)
        if known is None:
            entry = self.house.place[place]
            banded = not entry.brews and entry.band is not None
            known = self.in_service(place) and (banded or self.batch(place, now) is not None)
            self._judged[place] = known
        return known

    def cooler_judged(self, cooler: str, now: float) -> bool:
        """It is in service and something that it serves is judged."""
        if self._version != self.entry_log.version:
            self._forget()
        known = self._judged.get(cooler)
        if known is None:
            served = self.served(cooler)
            known = self.in_service(cooler) and any(self.place_judged(p, now) for p in served)
            self._judged[cooler] = known
        return known

    def probe_judged(self, probe: str, now: float) -> bool:
        """It is in service and something that depends on it is judged."""
        if self._version != self.entry_log.version:
            self._forget()
        known = self._judged.get(probe)
        if known is None:
            known = self._judged[probe] = self._probe_judged(probe, now)
        return known

    def _probe_judged(self, probe: str, now: float) -> bool:
        if not self.in_service(probe):
            return False
        of = self.house.probe[probe].of
        if of in self.house.cooler:
            return self.cooler_judged(of, now)
        if self.place_judged(of, now):
            return True
        return any(self.place_judged(place, now) for place in self.standing_in(of))

    def product(self, place: str, now: float) -> tuple[float, float] | None:
        """(degrees, time) of the product of a place now: its good probes, else a check by hand.

        The time is the moment that the degrees stand for, the middle of the readings behind them.
        """
        return self.product_of(self.places[place], now)

    def product_of(self, probe_state: PlaceState, now: float) -> tuple[float, float] | None:
        """The same for who holds the place's sense already."""
        if probe_state.value is not None and probe_state.centre is not None:
            return probe_state.value, probe_state.centre
        subject_state = self.entry_log.subject_states.get(probe_state.place.id)
        if subject_state is not None and subject_state.check is not None:
            counts = CHECK_COUNTS.get(probe_state.place.kind, CHECK_COUNTS_ELSE)
            if now - subject_state.check[0] <= counts:
                return subject_state.check[1], subject_state.check[0]
        return None

    def product_heard(self, place: str, now: float) -> float | None:
        """When what `product` answers was last heard, or checked by hand."""
        probe_state, subject_state = self.places[place], self.entry_log.subject_states.get(place)
        if probe_state.value is not None:
            return probe_state.at
        return (
            None if subject_state is None or subject_state.check is None else subject_state.check[0]
        )

    def measured(self, subject: str, now: float, *measures: str) -> float | None:
        """The first believed value among probes of a subject that measure one of these."""
        for measure in measures:
            for probe_state in self._by_measure.get((subject, measure), _NONE):
                if probe_state.value is not None and probe_state.good(now):
                    return probe_state.value
        return None

    def air_of(self, place: Place, now: float) -> float | None:
        """The air around a place: of its room, else of a probe of its own."""
        found = None
        if place.room is not None:
            found = self.measured(place.room, now, "air")
        return self.measured(place.id, now, "air") if found is None else found

    def signal(self, subject: str, now: float, measure: str) -> bool | None:
        """The latest of a truth value, None where none is known."""
        return self.signalled(self._by_measure.get((subject, measure), _NONE), now)

    def signalled(self, probe_states: list[ProbeState], now: float) -> bool | None:
        """What the first of these that says anything says, None where none does."""
        out = self.entry_log.out
        for probe_state in probe_states:
            if probe_state.fresh(now) and not (out and probe_state.probe.id in out):
                return probe_state.window[-1] > 0.5
        return None

    def masked(self, place: str, now: float) -> float | None:
        """When the masks that cover this moment end, None if there are none."""
        subject_state = self.entry_log.subject_states.get(place)
        return (
            subject_state.masked(now) if subject_state is not None and subject_state.masks else None
        )

    def stands(self, subject: str, *conditions: str) -> bool:
        standing = self.standing
        if standing:
            for condition in conditions:
                if (subject, condition) in standing:
                    return True
        return False

    def recently_worked(self, place: str, now: float, within: float = HOUR) -> str | None:
        """Who last logged work at a place within the time, by name or id as they gave it."""
        subject_state = self.entry_log.subject_states.get(place)
        if subject_state is None:
            return None
        for at, who in reversed(subject_state.hands):
            if now - within <= at <= now:
                return who
        return None


class Detector:
    """Parent of every detector. `look` answers when it wants to look again."""

    __slots__ = ("due", "subject", "view")

    conditions: tuple[str, ...] = ()

    def __init__(self, view: HouseView, subject: str) -> None:
        self.view = view
        self.subject = subject
        self.due = FAR_FUTURE

    def settle(self) -> None:
        """Take hold of what it looks at in this house, new or changed."""

    def look(self, now: float) -> float:
        raise AssertionError(f"{type(self).__name__} does not look")

    def listens(self) -> tuple[str, ...]:
        """Probes whose every current reading makes it look."""
        return ()

    def found(
        self,
        condition: str,
        holds: bool,
        at: float,
        *,
        value: float | None = None,
        planned: float | None = None,
        since: float | None = None,
        evidence: tuple[str, ...] = (),
        worse: float | None = None,
    ) -> None:
        """Tell a finding; nothing is told twice while it stays the same, but for getting worse."""
        if not holds and (self.subject, condition) not in self.view.standing:
            return
        self.view.tell(
            Finding(self.subject, condition, holds, at, value, planned, since, evidence, worse)
        )

    def clear(self, at: float) -> None:
        """None of its conditions holds any more."""
        if self.view.standing:
            for condition in self.conditions:
                self.found(condition, False, at)
