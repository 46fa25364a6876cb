"""The house as it stands: what stays when it changes, and what is begun anew."""

from __future__ import annotations

import msgspec
import pytest

from kuraban.core.house_state import HouseState
from kuraban.core.probes.probe_state import KEPT, KEPT_BRIEFLY
from kuraban.core.site import Probe
from tests.core.house import DUSK, brewery, mashing

TWIN = Probe(id="t3-low", of="tank-3", measures="product")


def test_a_probe_among_several_of_a_product_is_remembered_more_briefly() -> None:
    """What is looked back on for hours is the product of them all; alone, it is that."""
    house = brewery()
    state = HouseState(msgspec.structs.replace(house, probes=(*house.probes, TWIN)), DUSK)
    kept = {p: state.probe_states[p].series.kept for p in ("t3-mid", "t3-low", "t4-mid")}
    assert kept == {"t3-mid": KEPT_BRIEFLY, "t3-low": KEPT_BRIEFLY, "t4-mid": KEPT}
    assert state.places["tank-3"].series.kept == KEPT
    state.settle_in(house)
    assert state.places["tank-3"].series is state.probe_states["t3-mid"].series
    assert state.probe_states["t3-mid"].series.kept == KEPT


def test_what_a_probe_said_before_is_kept_when_the_house_changes() -> None:
    night = mashing()
    night.run(20).change(night.house)
    assert night.engine.view.places["tank-3"].value == pytest.approx(10.01, abs=0.02)
    probes = tuple(
        msgspec.structs.replace(probe, of="tank-4") if probe.id == "t3-mid" else probe
        for probe in night.house.probes
    )
    night.change(msgspec.structs.replace(night.house, probes=probes))
    elsewhere = night.engine.view.probe_states["t3-mid"]
    assert elsewhere.value is None, "in another tank it is another probe"


def test_a_probe_that_measures_something_else_now_is_another_one() -> None:
    house = brewery()
    state = HouseState(house, DUSK)
    before = state.probe_states["t3-mid"]
    probes = (msgspec.structs.replace(house.probe["t3-mid"], measures="air"), *house.probes[1:])
    state.settle_in(msgspec.structs.replace(house, probes=probes))
    assert state.probe_states["t3-mid"] is not before
    assert not state.places["tank-3"].products


def test_what_stands_in_a_room_and_what_hangs_on_a_place_is_known_anew() -> None:
    house = brewery()
    state = HouseState(house, DUSK)
    assert state.rooms == {}
    places = tuple(
        msgspec.structs.replace(place, room="store") if place.kind == "tank" else place
        for place in house.places
    )
    changed = msgspec.structs.replace(house, places=places, probes=(*house.probes, TWIN))
    state.settle_in(changed)
    assert state.rooms == {"store": ["tank-3", "tank-4"]}
    hanging = state.by_measure["tank-3", "product"]
    assert [one.probe.id for one in hanging] == ["t3-mid", "t3-low"]


def test_whoever_holds_its_places_and_probes_still_holds_them_after_a_change() -> None:
    """A view is made once, and stays true."""
    state = HouseState(brewery(), DUSK)
    held = state.places, state.probe_states, state.rooms, state.by_measure, state.entry_log
    state.settle_in(brewery())
    now = state.places, state.probe_states, state.rooms, state.by_measure, state.entry_log
    assert all(one is other for one, other in zip(held, now, strict=True))


def test_what_was_derived_from_the_books_is_void_when_the_house_changes() -> None:
    state = HouseState(brewery(), DUSK)
    before = state.entry_log.version
    state.settle_in(brewery())
    assert state.entry_log.version > before
