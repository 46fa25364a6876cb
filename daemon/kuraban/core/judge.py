"""Which detectors a house has, and which of them a probe's reading wakes."""

from __future__ import annotations

from operator import itemgetter
from typing import NamedTuple

from kuraban.core.course import FAR_FUTURE
from kuraban.core.detectors.additions import AdditionUnlogged
from kuraban.core.detectors.air import RoomAir
from kuraban.core.detectors.band import Banded
from kuraban.core.detectors.clocks import Clocks
from kuraban.core.detectors.cycling import ShortCycling
from kuraban.core.detectors.dark import Dark
from kuraban.core.detectors.disagrees import Disagrees
from kuraban.core.detectors.displaced import Displaced
from kuraban.core.detectors.dry import HangsDry
from kuraban.core.detectors.landing import Landing
from kuraban.core.detectors.not_cooling import NotCooling
from kuraban.core.detectors.overcooling import Overcooling
from kuraban.core.detectors.product import ProductBand
from kuraban.core.detectors.silent import Silent
from kuraban.core.detectors.stages import StageOverdue
from kuraban.core.detectors.stopped import Stopped
from kuraban.core.detectors.stuck import Stuck
from kuraban.core.detectors.supply import SupplyBand
from kuraban.core.detectors.trend import Trend
from kuraban.core.detectors.unwatched import Unwatched
from kuraban.core.detectors.wild import Wild
from kuraban.core.senses import PlaceSense, Sense
from kuraban.core.site import WATCH, House
from kuraban.core.timers import Timers
from kuraban.core.world import Detector, World

Key = tuple[str, str]
"""Class name and subject."""


class Way(NamedTuple):
    """Where a reading of one probe goes."""

    sense: Sense
    row: int
    """Of its clock (`kuraban.core.detectors.clocks`)."""
    place: PlaceSense | None
    """The place whose product it measures."""
    guards: tuple[Detector, ...]
    """What doubts the reading before anything else looks."""
    listeners: tuple[Detector, ...]
    """What looks at every current reading."""


class Judge:
    """All detectors of a house. Those whose subject stays are kept when the house changes."""

    clocks: Clocks

    def __init__(self, timers: Timers) -> None:
        self._timers = timers
        self._world: World
        self.detectors: dict[Key, Detector] = {}
        self.ways: dict[str, Way] = {}
        """Of each probe."""
        self.about: dict[str, list[tuple[int, Detector]]] = {}
        """Of each subject, numbered in the order in which all look."""

    def settle_in(self, world: World, now: float) -> None:
        self._world = world
        wanted = {_key(detector): detector for detector in _detectors(world)}
        for key, detector in self.detectors.items():
            if key in wanted:
                wanted[key] = detector
            else:
                detector.clear(now)
                detector.due = FAR_FUTURE
        self.detectors = wanted
        self.about = {}
        for number, detector in enumerate(wanted.values()):
            self.about.setdefault(detector.subject, []).append((number, detector))
        clocks = wanted["Clocks", WATCH]
        assert isinstance(clocks, Clocks)
        self.clocks = clocks
        listeners: dict[str, list[Detector]] = {probe: [] for probe in world.senses}
        for detector in wanted.values():
            detector.settle()
            for probe in detector.listens():
                listeners[probe].append(detector)
        self.ways = {
            probe: _way(world, sense, clocks.rows[probe], listeners[probe])
            for probe, sense in world.senses.items()
        }

    def look(self, detector: Detector, now: float) -> None:
        self._timers.want(detector, detector.look(now))

    def look_at(self, subjects: set[str] | None, now: float) -> None:
        """Let every detector of these subjects look now, None for all of them."""
        places = self._world.places
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

    def one(self, kind: type[Detector], subject: str) -> Detector | None:
        return self.detectors.get((kind.__name__, subject))


def _way(world: World, sense: Sense, row: int, listeners: list[Detector]) -> Way:
    product = sense.probe.measures == "product"
    return Way(
        sense,
        row,
        world.places.get(sense.probe.of) if product else None,
        tuple(one for one in listeners if isinstance(one, Displaced)),
        tuple(one for one in listeners if not isinstance(one, Displaced)),
    )


def _key(detector: Detector) -> Key:
    return type(detector).__name__, detector.subject


def _detectors(world: World) -> list[Detector]:
    """In the order in which they look when all must: probes, places, coolers, the watch."""
    house = world.house
    return [
        *_of_probes(world, house),
        *_of_places(world, house),
        *_of_coolers(world, house),
        Dark(world),
        Clocks(world),
    ]


def _of_probes(world: World, house: House) -> list[Detector]:
    found: list[Detector] = []
    for probe in house.probes:
        if probe.measures == "product" and probe.of in house.place:
            if house.place[probe.of].brews:
                found.append(Displaced(world, probe.id))
            first = house.probes_of(probe.of, "product")[0].id
            if first != probe.id:
                found.append(Disagrees(world, probe.id, first))
        if probe.dry_below is not None:
            found.append(HangsDry(world, probe.id))
        found += [Silent(world, probe.id), Stuck(world, probe.id), Wild(world, probe.id)]
    return found


def _of_places(world: World, house: House) -> list[Detector]:
    found: list[Detector] = []
    for place in house.places:
        if place.brews:
            if place.kind != "koji-bed" or place.cooler is not None:
                found.append(Overcooling(world, place.id))
            found += [
                ProductBand(world, place.id),
                Trend(world, place.id),
                AdditionUnlogged(world, place.id),
                StageOverdue(world, place.id),
            ]
            if place.kind != "koji-bed":
                found.append(Landing(world, place.id))
            if place.kind == "koji-bed":
                found.append(RoomAir(world, place.id))
        else:
            found.append(Banded(world, place.id))
        found.append(Unwatched(world, place.id))
    return found


def _of_coolers(world: World, house: House) -> list[Detector]:
    kinds = (Stopped, NotCooling, ShortCycling, SupplyBand)
    return [kind(world, cooler.id) for cooler in house.coolers for kind in kinds]
