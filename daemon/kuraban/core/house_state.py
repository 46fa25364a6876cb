"""The house under watch as it stands: its books, its senses, and what holds now.

Here the watch writes. Whoever only reads is given a view (`kuraban.core.house_view`). What is held
here is changed in place and never replaced, so that views stay true.
"""

from __future__ import annotations

from kuraban.core.equipment.cooler_habit import Habits
from kuraban.core.plan.entry_log import EntryLog
from kuraban.core.probes.probe_state import KEPT, KEPT_BRIEFLY, PlaceState, ProbeState
from kuraban.core.site import House, Place, Probe


class HouseState:
    """Owned by the watch, which alone writes it."""

    def __init__(self, house: House, started: float) -> None:
        self.house = house
        self.started = started
        self.entry_log = EntryLog(house)
        self.probe_states: dict[str, ProbeState] = {}
        self.places: dict[str, PlaceState] = {}
        self.by_measure: dict[tuple[str, str], list[ProbeState]] = {}
        """What hangs on a place or cooler, by what it measures."""
        self.rooms: dict[str, list[str]] = {}
        """The places that stand in each room."""
        self.standing: set[tuple[str, str]] = set()
        """Conditions that hold now, by subject and name."""
        self.habits = Habits()
        """How each cooler is used to run."""
        self.blind = 0.0
        """Until then silence means nothing: the watch itself was away, or is just back."""
        self.dusk = False
        """So many probes fell silent together that each alone means nothing yet."""
        self.settle_in(house)

    def settle_in(self, house: House) -> None:
        """Take over a house, new or changed; what its probes said before is kept."""
        self.house = self.entry_log.house = house
        probe_states = {probe.id: self._probe(probe) for probe in house.probes}
        self.probe_states.clear()
        self.probe_states.update(probe_states)
        places = {place.id: self._place(place) for place in house.places}
        self.places.clear()
        self.places.update(places)
        self.habits.keep({cooler.id for cooler in house.coolers})
        self.rooms.clear()
        for place in house.places:
            if place.room is not None:
                self.rooms.setdefault(place.room, []).append(place.id)
        self.by_measure.clear()
        for probe in house.probes:
            listed = self.by_measure.setdefault((probe.of, probe.measures), [])
            listed.append(self.probe_states[probe.id])
        self.entry_log.changed(piped=True)

    def _probe(self, probe: Probe) -> ProbeState:
        """What is known of it, unless it hangs elsewhere or measures something else now."""
        known = self.probe_states.get(probe.id)
        if known is None or (known.probe.of, known.probe.measures) != (probe.of, probe.measures):
            known = ProbeState(probe)
        known.settle(probe)
        return known

    def _place(self, place: Place) -> PlaceState:
        probes = self.house.probes_of(place.id, "product")
        products = [self.probe_states[probe.id] for probe in probes]
        for probe_state in products:
            probe_state.series.kept = KEPT if len(products) == 1 else KEPT_BRIEFLY
        known = self.places.get(place.id)
        if known is None or known.products != products:
            known = PlaceState(place, products)
        known.place = place
        return known
