"""A cold store, a room, a water tank: judged by their band without a batch."""

from __future__ import annotations

import math

import msgspec
import pytest

from kuraban.core.site import Place, Probe
from kuraban.core.units import MINUTE
from tests.core.detectors.kit import Night, course, house, saw, stage, step

STORE = Place(
    id="store", kind="cold-store", name="Koji cold store", band=(1.0, 8.0), delay=45 * MINUTE
)
AIR = Probe(id="air", of="store", measures="air", every=5 * MINUTE)


def store(place: Place = STORE) -> Night:
    return Night(house(place, AIR))


def defrost(minute: float) -> float:
    """Every six hours: half an hour off with the coil warmed, and half an hour to recover.

    Three or four a day of 20 to 30 minutes are common practice for coolers.
    """
    since = minute % 360
    if since < 30:
        return 4.0 + 7.0 * since / 30
    return 4.0 + 7.0 * math.exp(-(since - 30) / 12)


def test_a_warm_cold_store_is_told_to_maintenance_at_its_delay() -> None:
    night = store().play(180, air=step(4.0, 9.0, 60))
    assert night.raised("store/warm") == [60 + 5 + 45]
    assert {page.role for page in night.pages("store/warm")} == {"maintenance"}


def test_a_store_that_freezes_is_told_as_well() -> None:
    night = store().play(180, air=step(4.0, 0.0, 60))
    assert night.raised("store/cold") == [60 + 5 + 45]


def test_a_defrost_wakes_nobody() -> None:
    assert not store().play(24 * 60, air=defrost).alarms()


def test_a_door_and_a_delivery_wake_nobody() -> None:
    """Warm crates push it to 12 °C, and it comes down within three quarters of an hour."""
    night = store().play(
        600, air=lambda m: 4.0 if m < 120 else 4.0 + 8.0 * math.exp(-(m - 120) / 30)
    )
    assert not night.alarms()


def test_a_door_left_open_for_the_night_is_told_once() -> None:
    night = store().play(600, air=lambda m: 4.0 if m < 120 else 12.0 - 8.0 * 0.97 ** (m - 120))
    assert len(night.raised("store/warm")) == 1


def test_the_thermostats_saw_tooth_at_the_edge_of_the_band_does_not_chatter() -> None:
    night = store().play(24 * 60, air=saw(8.1, 2.0, 40))
    assert len(night.steps("store/warm")) <= 1


def test_it_has_returned_when_inside_by_the_deadband_for_the_off_delay() -> None:
    """0.3 K inside, a quarter of the delay."""
    night = store().play(120, air=9.0).play(180, air=7.8)
    assert night.stands("store/warm")
    night.play(240, air=7.5)
    assert night.over("store/warm") == [pytest.approx(180 + 5 + 45 / 4, abs=1.0)]


def test_while_nothing_measures_it_its_alarm_keeps_its_state() -> None:
    night = store().play(120, air=9.0).play(400)
    assert night.stands("store/warm")


def test_a_room_without_a_band_is_watched_and_never_judged() -> None:
    cellar = Place(id="store", kind="room", name="Cellar")
    assert not store(cellar).play(300, air=35.0).alarms()


def test_water_is_judged_by_a_probe_in_it() -> None:
    water = Place(id="store", kind="water", name="Brewing water", band=(2.0, 6.0))
    inside = Probe(id="air", of="store", measures="product")
    night = Night(house(water, inside)).play(120, air=step(4.0, 6.6, 30))
    assert night.raised("store/warm") == [30 + 4 + 30]


def test_out_of_service_it_is_quiet_and_judged_anew_when_put_back() -> None:
    night = store().play(120, air=9.0)
    night.log("store", "out-of-service", reason="cleaned")
    night.play(300, air=15.0)
    assert not night.stands("store/warm")
    night.log("store", "in-service")
    night.play(400, air=15.0)
    assert night.raised("store/warm")[-1] == 345


def test_a_store_with_two_probes_is_judged_by_the_one_that_answers() -> None:
    second = msgspec.structs.replace(AIR, id="second")
    night = Night(house(STORE, AIR, second))
    night.play(60, air=4.0, second=4.0).play(400, second=9.0)
    assert night.stands("store/warm")


SAKE = Place(id="store", kind="tank", name="Tank 9", band=(-5.0, 8.0), room="cellar")
INSIDE = Probe(id="air", of="store", measures="product")


def sake() -> Night:
    """A tank for pressed sake: it has a band, and now and then a batch."""
    return Night(house(SAKE, INSIDE, courses=(course(stage(celsius=18.0), never=(3.0, 25.0)),)))


def test_a_tank_of_sake_is_judged_by_its_band_while_no_batch_runs() -> None:
    """Told to maintenance, in the words of a store: no plan, no mash."""
    night = sake().play(120, air=18.0)
    assert night.raised("store/warm") == [30]
    pages = night.pages("store/warm")
    assert {page.role for page in pages} == {"maintenance"}
    assert all("band up to 8.0" in page.title and "colder place" in page.body for page in pages)


def test_a_batch_in_that_tank_is_judged_by_its_course_alone() -> None:
    """And by the band again once it is pressed."""
    night = sake().play(60, air=18.0)
    assert night.stands("store/warm")
    night.log("store", "batch-start", batch="7", course="mash")
    night.play(300, air=18.0)
    assert not night.stands("store/warm")
    night.log("store", "batch-end")
    night.play(400, air=18.0)
    assert night.stands("store/warm")


def test_a_tank_of_sake_is_never_judged_by_the_air_around_it() -> None:
    """Its lid may be warm."""
    around = msgspec.structs.replace(INSIDE, id="lid", measures="air")
    assert not Night(house(SAKE, around)).play(300, lid=20.0).alarms()


def test_water_too_warm_is_told_in_words_of_its_own() -> None:
    """No door, no coil: a chiller, a pump, what was drawn."""
    water = Place(id="store", kind="water", name="Brewing water", band=(2.0, 6.0))
    pages = Night(house(water, INSIDE)).play(120, air=9.0).pages("store/warm")
    assert pages and all("pump" in page.body and "coil" not in page.body for page in pages)


def test_what_it_answers_of_a_warm_store_from_the_first_word_to_the_return() -> None:
    night = store()
    assert night.why("store/warm") == ["lacks: no-value", "lacks: must-rise edge=8 wanted=45"]
    night.play(60, air=4.0)
    assert night.why("store/warm") == ["lacks: must-rise value=4 edge=8 wanted=45"]
    assert night.why("store/cold") == ["lacks: must-fall value=4 edge=1 wanted=45"]
    night.play(90, air=9.0)
    assert night.why("store/warm") == [
        "seen: is-above value=9 edge=8", "lacks: runs-out until=110 lasted=25 wanted=45",
        "delay: since=65 how=seen spent=25 wanted=45 due=110",
    ]  # fmt: skip
    night.play(120, air=9.0)
    over = "ends: over-below value=9 edge=7.7 wanted=11.25"
    assert night.why("store/warm")[:3] == ["stands", "seen: is-above value=9 edge=8", over]
    alarm = night.engine.alarm_manager.alarm("store", "warm")
    assert (alarm.value, alarm.planned, alarm.since) == (9.0, 8.0, night.start + 65 * MINUTE)
    night.play(130, air=7.5)
    assert (
        night.why("store/warm")[2] == "ends: over-below value=7.5 edge=7.7 since=125 wanted=11.25"
    )
    night.log("store", "out-of-service", reason="cleaned")
    assert night.why("store/warm") == night.why("store/cold") == []


def test_what_it_answers_of_a_store_that_freezes() -> None:
    night = store().play(60, air=4.0).play(120, air=0.0)
    assert night.why("store/cold")[:3] == [
        "stands", "seen: is-below value=0 edge=1", "ends: over-above value=0 edge=1.3 wanted=11.25",
    ]  # fmt: skip
    alarm = night.engine.alarm_manager.alarm("store", "cold")
    assert (alarm.value, alarm.planned) == (0.0, 1.0)
    assert night.play(180, air=1.2).stands("store/cold")
    assert night.play(240, air=1.3).over("store/cold") == [197]


@pytest.mark.parametrize(("air", "alarms"), [
    (8.0, set()), (8.1, {"store/warm"}), (1.0, set()), (0.9, {"store/cold"}),
])  # fmt: skip
def test_the_edges_of_the_band_themselves_are_right(air: float, alarms: set[str]) -> None:
    assert store().play(120, air=air).alarms() == alarms


def test_what_has_no_band_and_what_brews_is_not_judged_by_one() -> None:
    bare = store(Place(id="store", kind="room", name="Cellar")).play(30, air=9.0)
    assert bare.why("store/warm") == []
    night = sake().play(60, air=18.0)
    assert night.why("store/warm")[0] == "stands"
    night.log("store", "batch-start", batch="7", course="mash")
    night.play(70, air=18.0)
    assert len(night.why("store/warm")) == 1, "its course alone answers"


def test_it_gets_worse_by_what_it_is_beyond_its_band() -> None:
    night = store().play(120, air=9.0)
    assert night.engine.alarm_manager.alarm("store", "warm").worse == pytest.approx(1.0)
    night.play(150, air=11.0)
    assert night.engine.alarm_manager.alarm("store", "warm").worse == pytest.approx(3.0)
