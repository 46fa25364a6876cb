"""Which detectors a house has."""

from __future__ import annotations

import msgspec

from kuraban.core.alarm_conditions import CONDITIONS
from kuraban.core.detectors.base import Conclusion, Finding
from kuraban.core.detectors.disagrees import Disagrees
from kuraban.core.detectors.product_band import ProductBand
from kuraban.core.engine.detector_registry import DetectorRegistry
from kuraban.core.engine.look_timers import Timers
from kuraban.core.house_state import HouseState
from kuraban.core.house_view import HouseView
from kuraban.core.planned_curve import FAR_FUTURE
from kuraban.core.probes.belief import Suspected
from kuraban.core.site import House, Probe
from tests.core.house import DUSK, Night, brewery, mashing

MEANT_FOR_PARTS = {"broker-lost", "journal-failing", "pages-failing", "history-behind", "behind"}
"""Told by the parts of the watch themselves."""


def judge_of(night: Night) -> DetectorRegistry:
    return night.engine.registry


def test_every_condition_has_somebody_who_finds_it() -> None:
    house = brewery()
    twin = Probe(id="t3-low", of="tank-3", measures="product")
    registry = judge_of(Night(msgspec.structs.replace(house, probes=(*house.probes, twin))))
    found = {name for detector in registry.detectors.values() for name in detector.conditions}
    assert set(CONDITIONS) - MEANT_FOR_PARTS <= found


def test_a_reading_is_looked_at_by_those_whom_it_concerns() -> None:
    registry = judge_of(Night())
    product = registry.one(ProductBand, "tank-3")
    assert product is not None and product in registry.ways["t3-mid"].listeners
    assert product not in registry.ways["t4-mid"].listeners
    assert registry.one(ProductBand, "store") is None, "a store is judged by its band"


def test_whether_a_probe_hangs_in_its_product_is_asked_before_its_product_is_judged() -> None:
    registry = judge_of(Night())
    way = registry.ways["t3-mid"]
    assert [type(guard).__name__ for guard in way.guards] == ["Displaced"]
    assert not any(guard in way.listeners for guard in way.guards)


def test_an_entry_lets_those_look_whom_it_concerns() -> None:
    """What a stir in one tank changes, another cooler's tank need not look for at once."""
    night = Night()
    for detector in judge_of(night).detectors.values():
        detector.due = FAR_FUTURE
    judge_of(night).look_at({"tank-3", "t3-mid"}, night.now)
    looked = [d.subject for d in judge_of(night).detectors.values() if d.due < FAR_FUTURE]
    assert looked and set(looked) <= {"tank-3", "t3-mid"}
    judge_of(night).look_at(None, night.now)
    assert "watch" in {d.subject for d in judge_of(night).detectors.values() if d.due < FAR_FUTURE}


def test_detectors_stay_when_the_house_changes_about_them() -> None:
    """What they remember is not lost by a restart with one probe more."""
    night = mashing()
    before = judge_of(night).one(ProductBand, "tank-3")
    more = Probe(id="t4-low", of="tank-4", measures="product")
    night.change(msgspec.structs.replace(night.house, probes=(*night.house.probes, more)))
    assert judge_of(night).one(ProductBand, "tank-3") is before
    assert ("Disagrees", "t4-low") in judge_of(night).detectors


def test_a_detector_without_its_subject_goes() -> None:
    night = mashing()
    left = tuple(place for place in night.house.places if place.id != "moto-1")
    probes = tuple(probe for probe in night.house.probes if probe.of != "moto-1")
    night.change(msgspec.structs.replace(night.house, places=left, probes=probes))
    assert judge_of(night).one(ProductBand, "moto-1") is None
    night.run(180)
    assert not night.steps()


LOW = Probe(id="t3-low", of="tank-3", measures="product")


def with_probes(house: House, *probes: Probe) -> House:
    others = tuple(p for p in house.probes if p.id not in {probe.id for probe in probes})
    return msgspec.structs.replace(house, probes=(*others, *probes))


def test_what_a_detector_that_goes_had_found_is_over() -> None:
    """Its twin was taken from the house: nobody is left to say that they agree again."""
    house = with_probes(brewery(), LOW)
    night = Night(house)
    disagrees = Finding("t3-low", "disagrees", True, night.now)
    night.engine.watched.conclusions.take(disagrees)
    assert ("t3-low", "disagrees") in night.engine.view.standing
    alone = tuple(probe for probe in house.probes if probe.id != "t3-mid")
    night.change(msgspec.structs.replace(house, probes=alone))
    assert judge_of(night).one(Disagrees, "t3-low") is None
    assert ("t3-low", "disagrees") not in night.engine.view.standing
    assert not night.engine.alarm_manager.alarm("t3-low", "disagrees").active


def test_what_a_detector_that_goes_held_against_a_probe_is_gone() -> None:
    """Its depth was taken from the site file: nobody is left to say that it is wet."""
    dry = msgspec.structs.replace(LOW, dry_below=900.0)
    night = Night(with_probes(brewery(), dry))
    night.engine.watched.conclusions.take(Suspected("t3-low", "hangs-dry", night.now))
    night.change(with_probes(brewery(), LOW))
    assert not night.engine.view.probe_states["t3-low"].suspect


def test_an_empty_house_still_watches_itself() -> None:
    house = brewery()
    bare = type(house)(site=house.site)
    state, told = HouseState(bare, DUSK), list[Conclusion]()
    registry = DetectorRegistry(state, HouseView(state), told.append, Timers())
    registry.settle_in(DUSK)
    registry.look_at(None, DUSK)
    assert {subject for _, subject in registry.detectors} == {"watch"}
    assert registry.clocks.subject == "watch" and not told
