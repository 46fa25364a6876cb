"""What every reader can see: the house, its books, its senses; and that it can write nothing."""

from __future__ import annotations

import msgspec
import pytest

from kuraban.core.forecast.drift import drift_of
from kuraban.core.house_state import HouseState
from kuraban.core.house_view import HouseView
from kuraban.core.site import House, Probe
from kuraban.core.units import HOUR
from tests.core.house import DUSK, Night, brewery, mashing
from tests.house import members_of


def view(house: House | None = None) -> HouseView:
    return HouseView(HouseState(house or brewery(), DUSK))


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


# --------------------------------------------------------------------------------- whose view it is


def test_who_serves_a_tank_is_seen_with_the_entry_that_says_so_and_when_it_is_taken_back() -> None:
    night = mashing()
    sees = HouseView(night.engine.watched.state)
    for stirred in (False, True):
        assert sees.served("chiller-1") == ["tank-3", "tank-4"] and not sees.served("chiller-2")
        entry = night.log("tank-3", "served-by", cooler="chiller-2")
        assert (sees.served("chiller-1"), sees.served("chiller-2")) == (["tank-4"], ["tank-3"])
        if stirred:
            night.log("tank-3", "stir")
            assert sees.served("chiller-2") == ["tank-3"]
        night.log("tank-3", "take-back", of=entry, reason="wrong tank")


def test_two_views_of_one_house_see_the_same_and_remember_apart() -> None:
    """Whoever paints a picture or draws a curve leaves no trace in what the watch decides."""
    night = mashing()
    night.run(90)
    mine, state = night.engine.view, night.engine.watched.state
    before = {place: track.upto for place, track in mine.memory.tracks.items()}
    other = HouseView(state)
    batch = other.batch("tank-3", night.now)
    assert batch is not None and batch is mine.batch("tank-3", night.now)
    drift_of(other, "tank-3", batch, night.now)
    assert other.memory.tracks and other.memory is not mine.memory
    assert {place: track.upto for place, track in mine.memory.tracks.items()} == before
    assert other.sees(state) and not other.sees(HouseState(night.house, DUSK))


def test_what_the_watch_writes_every_view_sees() -> None:
    state = HouseState(brewery(), DUSK)
    sees = HouseView(state)
    state.dusk, state.blind = True, DUSK + HOUR
    state.standing.add(("tank-3", "warm"))
    assert (sees.dusk, sees.blind, sees.stands("tank-3", "cold", "warm")) == (
        True,
        DUSK + HOUR,
        True,
    )
    assert not sees.stands("tank-4", "warm") and not sees.stands("tank-3", "cold")
    state.settle_in(msgspec.structs.replace(state.house, places=state.house.places[:1]))
    assert list(sees.places) == ["tank-3"] and sees.house is state.house


def test_nothing_of_the_house_can_be_written_through_a_view() -> None:
    sees = view()
    for name in ("house", "dusk", "blind"):
        with pytest.raises(AttributeError):
            setattr(sees, name, None)
    assert not members_of(HouseView) & {"settle_in", "tell", "remark"}
