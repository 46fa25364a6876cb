"""Nothing good is left by which a place could be judged."""

from __future__ import annotations

import msgspec
import pytest

from kuraban.core.site import Place, PlaceKind, Probe
from kuraban.core.units import MINUTE
from tests.core.detectors.kit import (
    EVENING,
    MID,
    TANK,
    Night,
    cellar,
    course,
    house,
    koji,
    noisy,
    stage,
)

AIR = 6.0
ALARM = "tank/unwatched"


def tank(kind: PlaceKind = "tank") -> Night:
    place = msgspec.structs.replace(TANK, kind=kind, room=None)
    shape = koji(10.0) if kind == "koji-bed" else stage()
    night = Night(house(place, MID, courses=(course(shape, whither=kind),)))
    night.batch()
    return night


@pytest.mark.parametrize(("kind", "allowed"), [("koji-bed", 20), ("starter", 60), ("tank", 120)])
def test_the_brewer_is_woken_as_soon_as_the_place_cannot_wait(
    kind: PlaceKind, allowed: float
) -> None:
    """Twenty minutes for koji, an hour for a starter, two for a mash."""
    night = tank(kind).play(60, mid=noisy(10.0)).play(300)
    (raised,) = night.raised(ALARM)
    assert 59 + allowed <= raised <= 60 + allowed + 1
    assert {page.role for page in night.pages(ALARM)} == {"brewer"}


def test_a_probe_that_measures_again_ends_it() -> None:
    night = tank().play(60, mid=noisy(10.0)).play(240).play(250, mid=noisy(10.0))
    (over,) = night.over(ALARM)
    assert 240 <= over <= 245


def test_a_displaced_probe_watches_nothing() -> None:
    """Pulled out at night: told as displaced, and after two hours that nobody watches the tank."""
    night = Night(cellar())
    night.batch()
    night.play(60, mid=noisy(10.0), air=AIR).play(300, mid=noisy(AIR), air=AIR)
    (raised,) = night.raised(ALARM)
    assert 60 + 120 - 2 <= raised <= 60 + 120 + 10


def test_a_stuck_probe_watches_nothing() -> None:
    night = Night(cellar())
    night.batch()
    night.play(120, mid=noisy(10.0, 0.05), air=AIR).play(440, mid=10.0625, air=AIR)
    assert ALARM in night.alarms()


def test_a_hand_thermometer_watches_for_four_hours() -> None:
    night = tank().play(60, mid=noisy(10.0)).play(150)
    night.log("tank", "check", celsius=10.1, by="mio")
    night.play(150 + 239)
    assert not night.stands(ALARM) or night.raised(ALARM)[-1] > 150 + 240
    night.play(150 + 250)
    assert night.raised(ALARM)


def test_it_is_told_since_the_tank_was_last_measured_by_hand_too() -> None:
    night = tank().play(60, mid=noisy(10.0)).play(150)
    night.log("tank", "check", celsius=10.1, by="mio")
    night.play(150 + 250)
    alarm = night.engine.alarm_manager.alarm("tank", "unwatched")
    assert alarm.since == night.start + 150 * MINUTE


def test_a_probe_that_was_taken_out_of_service_and_fell_silent_watches_nothing() -> None:
    """Nobody tells it as silent: its last word grows old by itself."""
    night = tank().play(60, mid=noisy(10.0))
    night.log("mid", "out-of-service", reason="battery")
    night.play(240)
    assert night.alarms() == {ALARM}
    (raised,) = night.raised(ALARM)
    assert 59 + 120 <= raised <= 60 + 120 + 5


def test_a_mask_holds_it() -> None:
    """Somebody is at the tank."""
    night = tank().play(60, mid=noisy(10.0)).play(150)
    night.log("tank", "stir", within="1h")
    night.play(300)
    assert night.raised(ALARM) == [150 + 60 + 20]


def test_a_tank_without_any_product_probe_is_listed_and_rings_nobody() -> None:
    night = Night(house(TANK, courses=(course(),)))
    night.batch()
    assert not night.play(600).alarms()


def test_a_probe_that_never_spoke_counts_from_the_start_of_the_batch() -> None:
    night = tank().play(180)
    (raised,) = night.raised(ALARM)
    assert raised == 120


def test_without_a_batch_nobody_minds() -> None:
    assert not Night(cellar()).play(600).alarms()


def test_with_two_probes_one_is_enough() -> None:
    low = msgspec.structs.replace(MID, id="low")
    night = Night(house(TANK, MID, low, courses=(course(),)))
    night.batch()
    night.play(60, mid=noisy(10.0), low=noisy(10.0, seed=2)).play(400, low=noisy(10.0, seed=2))
    assert ALARM not in night.alarms()


def test_a_cold_store_whose_probe_is_gone_is_unwatched_after_two_hours() -> None:
    store = Place(id="tank", kind="cold-store", name="Koji cold store", band=(1.0, 8.0))
    air = Probe(id="air", of="tank", measures="air")
    night = Night(house(store, air), start=EVENING).play(60, air=4.0).play(240)
    (raised,) = night.raised(ALARM)
    assert 175 <= raised <= 190
    night.play(300, air=4.0)
    assert night.over(ALARM)


def test_what_it_answers_from_the_first_word_to_the_return() -> None:
    night = tank()
    assert night.why(ALARM) == ["lacks: runs-out until=120 lasted=0 wanted=120"]
    night.play(60, mid=10.0)
    assert night.why(ALARM) == ["lacks: measured since=59 wanted=120"]
    assert night.play(100).why(ALARM) == [
        "lacks: runs-out until=179 lasted=41 wanted=120",
        "delay: since=59 how=seen spent=41 wanted=120 due=179",
    ]
    gone = ["stands", "seen: no-value since=59", "ends: over-measured"]
    assert night.play(200).why(ALARM) == gone
    assert night.raised(ALARM) == [179]
    night.play(203, mid=10.0)
    assert night.why(ALARM) == ["lacks: measured since=202 wanted=120"]
    assert night.over(ALARM) == [201]
    night.log("tank", "batch-end")
    assert night.why(ALARM) == []


def test_what_it_answers_by_hand_and_under_a_mask() -> None:
    """Measured by hand at 150; after four hours that grew old, and somebody stirs until six."""
    night = tank().play(60, mid=10.0).play(150)
    night.log("tank", "check", celsius=10.0)
    assert night.play(151).why(ALARM) == ["lacks: measured since=150 wanted=120"]
    night.play(385)
    night.log("tank", "stir", within="1h")
    assert night.play(395).why(ALARM) == [
        "lacks: runs-out until=465 lasted=245 wanted=315",
        "delay: since=150 how=seen spent=245 wanted=315 due=465",
    ]
    assert night.play(470).raised(ALARM) == [465]


def test_a_store_answers_by_the_probe_of_its_air() -> None:
    store = Place(id="tank", kind="cold-store", name="Koji cold store", band=(1.0, 8.0))
    air = Probe(id="air", of="tank", measures="air")
    night = Night(house(store, air), start=EVENING).play(60, air=4.0)
    assert night.why(ALARM)[0].startswith("lacks: measured")
    night.play(150)
    assert night.why(ALARM)[0] == "lacks: runs-out until=179 lasted=91 wanted=120"
    assert night.play(300).raised(ALARM) == [179]


def test_a_place_with_nothing_to_measure_it_answers_nothing() -> None:
    night = Night(house(TANK, courses=(course(),)))
    night.batch()
    assert night.why(ALARM) == []


def test_in_the_dark_it_is_held_and_told_within_a_minute_of_the_light() -> None:
    """Three tanks of one board; two of them are back after three hours."""
    tanks = [msgspec.structs.replace(TANK, id=f"t{n}") for n in range(3)]
    probes = [msgspec.structs.replace(MID, id=f"p{n}", of=f"t{n}") for n in range(3)]
    night = Night(house(*tanks, *probes, courses=(course(),)))
    for n in range(3):
        night.batch(f"t{n}")
    night.play(60, p0=10.0, p1=10.0, p2=10.0).play(240)
    assert night.why("t2/unwatched") == ["lacks: dusk"]
    night.play(250, p0=10.0, p1=10.0)
    assert night.raised("t2/unwatched") == [242]
    assert not {"t0/unwatched", "t1/unwatched"} & night.alarms()
