"""The house as everybody sees it who only reads: detectors, messages, reports, pages.

Nothing of the house can be written through a view. What a view derives from the books it keeps
until they change, and what it has reckoned it keeps in a memory of its own.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from collections.abc import Set as AbstractSet
from typing import Final, NamedTuple

from kuraban.core.equipment.cooler_habit import HabitView
from kuraban.core.forecast.reckoning_cache import Memory
from kuraban.core.house_state import HouseState
from kuraban.core.plan.plan_view import EntryLogView
from kuraban.core.plan.subject_state import Batch
from kuraban.core.probes.probe_view import PlaceView, ProbeView
from kuraban.core.site import House, Place, check_counts
from kuraban.core.units import HOUR

_NONE: list[ProbeView] = []


class Served(NamedTuple):
    """A place that somebody wants kept at a temperature, and the valves that ask for it."""

    place: str
    batch: Batch | None
    valves: Sequence[ProbeView]


class HouseView:
    """One reader's view of the house, its books and its senses."""

    def __init__(self, state: HouseState) -> None:
        self._state = state
        self.started: Final = state.started
        self.entry_log: Final[EntryLogView] = state.entry_log
        self.probe_states: Final[Mapping[str, ProbeView]] = state.probe_states
        self.places: Final[Mapping[str, PlaceView]] = state.places
        self.standing: Final[AbstractSet[tuple[str, str]]] = state.standing
        """Conditions that hold now, by subject and name."""
        self.habits: Final[Mapping[str, HabitView]] = state.habits.known
        """How each cooler is used to run, where anything is known."""
        self.memory: Final = Memory()
        """What this reader has reckoned."""
        self._by_measure: Mapping[tuple[str, str], Sequence[ProbeView]] = state.by_measure
        self._version = -1
        self._batches: dict[str, Batch | None] = {}
        self._judged: dict[str, bool] = {}
        self._calling: dict[str, list[Served]] = {}
        self._served: dict[str, list[str]] = {}
        self._valves: dict[str, list[Sequence[ProbeView]]] = {}

    @property
    def house(self) -> House:
        return self._state.house

    @property
    def blind(self) -> float:
        """Until then silence means nothing: the watch itself was away, or is just back."""
        return self._state.blind

    @property
    def dusk(self) -> bool:
        """So many probes fell silent together that each alone means nothing yet."""
        return self._state.dusk

    def sees(self, state: HouseState) -> bool:
        """Whether it is a view of that state."""
        return self._state is state

    def _forget(self) -> None:
        """The books have changed since this was derived from them."""
        if self.entry_log.piped > self._version:
            self._served.clear()
            self._valves.clear()
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
        if self._version != self.entry_log.version:
            self._forget()
        if not self._served:
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

    def valves(self, cooler: str) -> list[Sequence[ProbeView]]:
        """The valves of each place that a cooler or heater serves now."""
        if self._version != self.entry_log.version:
            self._forget()
        found = self._valves.get(cooler)
        if found is None:
            served = self.served(cooler)
            found = self._valves[cooler] = [self.hanging(place, "valve") for place in served]
        return found

    def standing_in(self, room: str) -> Sequence[str]:
        """The places that stand in a room."""
        return self._state.rooms.get(room, [])

    def hanging(self, subject: str, measure: str) -> Sequence[ProbeView]:
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
            judged = entry.band is not None or self.batch(place, now) is not None
            known = self.in_service(place) and judged
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

    def product_of(self, known: PlaceView, now: float) -> tuple[float, float] | None:
        """The same for who holds the place's sense already."""
        if known.value is not None and known.centre is not None:
            return known.value, known.centre
        return self.checked(known.place, now)

    def checked(self, place: Place, now: float) -> tuple[float, float] | None:
        """(degrees, time) of a check by hand that still counts."""
        known = self.entry_log.subject_states.get(place.id)
        if known is None or known.check is None:
            return None
        at, celsius = known.check
        return (celsius, at) if now - at <= check_counts(place.kind) else None

    def product_heard(self, place: str, now: float) -> float | None:
        """When what `product` answers was last heard, or checked by hand."""
        known, check = self.places[place], self.entry_log.of(place).check
        if known.value is not None:
            return known.at
        return None if check is None else check[0]

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

    def signalled(self, probe_states: Sequence[ProbeView], now: float) -> bool | None:
        """What the first of these that says anything says, None where none does."""
        out = self.entry_log.out
        for probe_state in probe_states:
            raw, heard = probe_state.raw, probe_state.heard
            if raw is None or heard is None or now - heard > probe_state.silent_after:
                continue
            if not out or probe_state.probe.id not in out:
                return raw > 0.5
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
