"""What every detector can see: the house, its books, its senses; and when it looks again."""

from __future__ import annotations

import msgspec
import pytest

from kuraban.core.house_view import Detector, Finding, HouseView
from kuraban.core.probes.probe_state import KEPT, KEPT_BRIEFLY
from kuraban.core.site import House, Probe
from kuraban.core.units import HOUR
from tests.core.house import DUSK, Night, brewery, mashing


def view(house: House | None = None) -> HouseView:
    return HouseView(house or brewery(), DUSK)


def test_a_probe_among_several_of_a_product_is_remembered_more_briefly() -> None:
    """What is looked back on for hours is the product of them all; alone, it is that."""
    house = brewery()
    twin = Probe(id="t3-low", of="tank-3", measures="product")
    sees = view(msgspec.structs.replace(house, probes=(*house.probes, twin)))
    kept = {probe: sees.probe_states[probe].series.kept for probe in ("t3-mid", "t3-low", "t4-mid")}
    assert kept == {"t3-mid": KEPT_BRIEFLY, "t3-low": KEPT_BRIEFLY, "t4-mid": KEPT}
    assert sees.places["tank-3"].series.kept == KEPT
    sees.settle_in(house)
    assert sees.places["tank-3"].series is sees.probe_states["t3-mid"].series
    assert sees.probe_states["t3-mid"].series.kept == KEPT


# ----------------------------------------------------------------------------------- what is judged


def test_a_tank_is_judged_while_a_batch_runs_in_it() -> None:
    night = Night()
    sees = night.engine.view
    assert not sees.place_judged("tank-3", night.now)
    night.log("tank-3", "batch-start", batch="3", course="mash", stage="last")
    assert sees.place_judged("tank-3", night.now)
    assert sees.probe_judged("t3-mid", night.now) and sees.cooler_judged("chiller-1", night.now)
    assert not sees.probe_judged("t4-mid", night.now)
    night.log("tank-3", "batch-end")
    assert not sees.place_judged("tank-3", night.now)
    assert not sees.cooler_judged("chiller-1", night.now)


def test_a_store_is_judged_by_its_band_and_a_room_without_one_is_not() -> None:
    house = brewery()
    bare = tuple(msgspec.structs.replace(place, band=None) if place.id == "store" else place
                 for place in house.places)  # fmt: skip
    assert view().place_judged("store", DUSK)
    assert not view(msgspec.structs.replace(house, places=bare)).place_judged("store", DUSK)


@pytest.mark.parametrize("subject", ["tank-3", "t3-mid", "chiller-1"])
def test_what_is_out_of_service_is_not_judged(subject: str) -> None:
    night = mashing()
    night.log(subject, "out-of-service")
    sees = night.engine.view
    assert not sees.in_service(subject)
    assert sees.place_judged("tank-3", night.now) is (subject != "tank-3")
    assert not sees.probe_judged("t3-mid", night.now) or subject == "chiller-1"
    assert sees.cooler_judged("chiller-1", night.now) is (subject != "chiller-1")
    night.log(subject, "in-service")
    assert sees.in_service(subject)


def test_a_rooms_probe_is_judged_for_the_batches_that_stand_there() -> None:
    house = brewery()
    places = tuple(
        msgspec.structs.replace(place, room="store", band=None) if place.id == "tank-3"
        else msgspec.structs.replace(place, band=None)
        for place in house.places
    )  # fmt: skip
    night = Night(msgspec.structs.replace(house, places=places))
    assert not night.engine.view.probe_judged("s-air", night.now)
    night.log("tank-3", "batch-start", batch="3", course="mash")
    assert night.engine.view.probe_judged("s-air", night.now)


# --------------------------------------------------------------------------------- what is measured


def test_a_hand_thermometer_counts_for_four_hours_where_no_probe_is_good() -> None:
    night = mashing()
    night.run(10).log("tank-3", "check", celsius=10.9)
    sees = night.engine.view
    assert sees.product("tank-3", night.now) != (10.9, night.now), "a good probe stands before it"
    night.told["t3-mid"] = None
    checked = night.now
    night.run(30)
    assert sees.product("tank-3", night.now) == (10.9, checked)
    night.run(211)
    assert sees.product("tank-3", night.now) is None


def test_koji_is_checked_for_an_hour() -> None:
    night = Night()
    night.log("bed-1", "batch-start", batch="K", course="koji")
    night.log("bed-1", "check", celsius=32.4)
    sees = night.engine.view
    assert sees.product("bed-1", night.now + HOUR) == (32.4, night.now)
    assert sees.product("bed-1", night.now + HOUR + 1) is None


def test_a_truth_value_counts_while_its_probe_answers() -> None:
    house = brewery()
    valve = Probe(id="t3-valve", of="tank-3", measures="valve")
    night = Night(msgspec.structs.replace(house, probes=(*house.probes, valve)))
    sees = night.engine.view
    assert sees.signal("tank-3", night.now, "valve") is None
    night.say("t3-valve", "true")
    assert sees.signal("tank-3", night.now, "valve") is True
    assert sees.signal("tank-3", night.now + HOUR, "valve") is None


def test_who_worked_at_a_place_within_the_hour() -> None:
    night = mashing()
    night.log("tank-3", "stir", by="dai")
    sees = night.engine.view
    assert sees.recently_worked("tank-3", night.now + HOUR) == "dai"
    assert sees.recently_worked("tank-3", night.now + HOUR + 1) is None
    assert sees.recently_worked("tank-4", night.now) is None


def test_what_a_probe_said_before_is_kept_when_the_house_changes() -> None:
    night = mashing()
    night.run(20).change(night.house)
    assert night.engine.view.places["tank-3"].value == pytest.approx(10.01, abs=0.02)
    probes = tuple(
        msgspec.structs.replace(probe, of="tank-4") if probe.id == "t3-mid" else probe
        for probe in night.house.probes
    )
    night.change(msgspec.structs.replace(night.house, probes=probes))
    assert night.engine.view.probe_states["t3-mid"].value is None, (
        "in another tank it is another probe"
    )


# ----------------------------------------------------------------------------------------- findings


class Warm(Detector):
    conditions = ("warm",)


def test_a_finding_that_changes_nothing_is_not_told() -> None:
    sees, told = view(), list[Finding]()
    sees.tell = told.append
    detector = Warm(sees, "tank-3")
    detector.clear(DUSK)
    assert not told
    sees.standing.add(("tank-3", "warm"))
    detector.clear(DUSK)
    assert [(one.condition, one.holds) for one in told] == [("warm", False)]
