"""Which detectors a house has, and which of them a probe's reading wakes."""

from __future__ import annotations

from operator import itemgetter
from typing import NamedTuple

from kuraban.core.detectors.addition_unlogged import AdditionUnlogged
from kuraban.core.detectors.banded_place import BandedPlace
from kuraban.core.detectors.base import Detector, Tell
from kuraban.core.detectors.clock_wrong import ClockWrong
from kuraban.core.detectors.dark import Dark
from kuraban.core.detectors.disagrees import Disagrees
from kuraban.core.detectors.displaced import Displaced
from kuraban.core.detectors.hangs_dry import HangsDry
from kuraban.core.detectors.koji_air import KojiAir
from kuraban.core.detectors.landing import Landing
from kuraban.core.detectors.not_cooling import NotCooling
from kuraban.core.detectors.overcooling import Overcooling
from kuraban.core.detectors.product_band import ProductBand
from kuraban.core.detectors.short_cycling import ShortCycling
from kuraban.core.detectors.silent import Silent
from kuraban.core.detectors.stage_overdue import StageOverdue
from kuraban.core.detectors.stir_unlogged import StirUnlogged
from kuraban.core.detectors.stopped import Stopped
from kuraban.core.detectors.stuck import Stuck
from kuraban.core.detectors.supply_band import SupplyBand
from kuraban.core.detectors.trending import Trend
from kuraban.core.detectors.unwatched import Unwatched
from kuraban.core.detectors.wild import Wild
from kuraban.core.engine.look_timers import Timers
from kuraban.core.house_state import HouseState
from kuraban.core.house_view import HouseView
from kuraban.core.planned_curve import FAR_FUTURE
from kuraban.core.probes.probe_state import PlaceState, ProbeState

Key = tuple[str, str]
"""Class name and subject."""


class Way(NamedTuple):
    """Where a reading of one probe goes."""

    probe_state: ProbeState
    row: int
    """Of its clock (`kuraban.core.detectors.clock_wrong`)."""
    place: PlaceState | None
    """The place whose product it measures."""
    guards: tuple[Detector, ...]
    """What doubts the reading before anything else looks."""
    listeners: tuple[Detector, ...]
    """What looks at every current reading."""


class DetectorRegistry:
    """All detectors of a house. Those whose subject stays are kept when the house changes."""

    def __init__(self, state: HouseState, view: HouseView, tell: Tell, timers: Timers) -> None:
        self._state, self._view, self._tell, self._timers = state, view, tell, timers
        self.clocks = ClockWrong(view, tell)
        self.detectors: dict[Key, Detector] = {}
        self.ways: dict[str, Way] = {}
        """Of each probe."""
        self.about: dict[str, list[tuple[int, Detector]]] = {}
        """Of each subject, numbered in the order in which all look."""

    def settle_in(self, now: float) -> None:
        """Take on the house as it is now. What left it tells that nothing of its holds."""
        wanted = {_key(detector): detector for detector in self._all()}
        for key, detector in self.detectors.items():
            if key in wanted:
                wanted[key] = detector
            else:
                detector.leave(now)
                detector.due = FAR_FUTURE
        self.detectors = wanted
        self.about = {}
        for number, detector in enumerate(wanted.values()):
            self.about.setdefault(detector.subject, []).append((number, detector))
        probe_states = self._state.probe_states
        listeners: dict[str, list[Detector]] = {probe: [] for probe in probe_states}
        for detector in wanted.values():
            detector.settle()
            for probe in detector.listens():
                listeners[probe].append(detector)
        self.ways = {
            probe: self._way(probe_state, listeners[probe])
            for probe, probe_state in probe_states.items()
        }

    def look(self, detector: Detector, now: float) -> None:
        self._timers.want(detector, detector.look(now))

    def look_at(self, subjects: set[str] | None, now: float) -> None:
        """Let every detector of these subjects look now, None for all of them."""
        places = self._state.places
        for name in places if subjects is None else subjects & places.keys():
            places[name].refresh(now)
        for detector in self._those_of(subjects):
            self.look(detector, now)

    def _those_of(self, subjects: set[str] | None) -> list[Detector]:
        """The detectors of subjects, in the order in which all look."""
        if subjects is None:
            return list(self.detectors.values())
        found = [one for subject in subjects for one in self.about.get(subject, ())]
        return [detector for _, detector in sorted(found, key=itemgetter(0))]

    def look_one(self, kind: type[Detector], subject: str, now: float) -> None:
        """Let one detector look now, where there is such a one."""
        detector = self.one(kind, subject)
        if detector is not None:
            self.look(detector, now)

    def look_all(self, now: float, *kinds: type[Detector]) -> None:
        """Let every detector of some kinds look now."""
        for detector in self.detectors.values():
            if isinstance(detector, kinds):
                self.look(detector, now)

    def one(self, kind: type[Detector], subject: str) -> Detector | None:
        return self.detectors.get((kind.__name__, subject))

    def _way(self, probe_state: ProbeState, listeners: list[Detector]) -> Way:
        probe = probe_state.probe
        return Way(
            probe_state,
            self.clocks.rows[probe.id],
            self._state.places.get(probe.of) if probe.measures == "product" else None,
            tuple(one for one in listeners if isinstance(one, Displaced)),
            tuple(one for one in listeners if not isinstance(one, Displaced)),
        )

    def _all(self) -> list[Detector]:
        """In the order in which they look when all must: probes, places, coolers, the watch."""
        view, tell = self._view, self._tell
        return [
            *_of_probes(view, tell),
            *_of_places(view, tell),
            *_of_coolers(view, tell),
            Dark(view, tell),
            self.clocks,
        ]


def _key(detector: Detector) -> Key:
    return type(detector).__name__, detector.subject


def _of_probes(view: HouseView, tell: Tell) -> list[Detector]:
    house, found = view.house, list[Detector]()
    for probe in house.probes:
        if probe.measures == "product" and probe.of in house.place:
            if house.place[probe.of].brews:
                found.append(Displaced(view, tell, probe.id))
            first = house.probes_of(probe.of, "product")[0].id
            if first != probe.id:
                found.append(Disagrees(view, tell, probe.id, first))
        if probe.dry_below is not None:
            found.append(HangsDry(view, tell, probe.id))
        found += [
            Silent(view, tell, probe.id),
            Stuck(view, tell, probe.id),
            Wild(view, tell, probe.id),
        ]
    return found


def _of_places(view: HouseView, tell: Tell) -> list[Detector]:
    found: list[Detector] = []
    for place in view.house.places:
        if place.brews:
            if place.kind != "koji-bed" or place.cooler is not None:
                found.append(Overcooling(view, tell, place.id))
            if place.kind == "tank" and view.places[place.id].products:
                found.append(StirUnlogged(view, tell, place.id))
            found += [ProductBand(view, tell, place.id), Trend(view, tell, place.id)]
            if place.kind != "koji-bed":
                found.append(AdditionUnlogged(view, tell, place.id))
            found.append(StageOverdue(view, tell, place.id))
            if place.kind != "koji-bed":
                found.append(Landing(view, tell, place.id))
            if place.kind == "koji-bed":
                found.append(KojiAir(view, tell, place.id))
        if place.band is not None or not place.brews:
            found.append(BandedPlace(view, tell, place.id))
        found.append(Unwatched(view, tell, place.id))
    return found


def _of_coolers(view: HouseView, tell: Tell) -> list[Detector]:
    kinds = (Stopped, NotCooling, ShortCycling, SupplyBand)
    return [kind(view, tell, cooler.id) for cooler in view.house.coolers for kind in kinds]
