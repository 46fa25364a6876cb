"""What a cooler delivers is above its band while it is called for, or near freezing."""

from __future__ import annotations

import math

import msgspec
import pytest

from kuraban.core.site import Cooler, Place, Probe
from kuraban.core.units import MINUTE
from tests.core.detectors.kit import Night, house, noisy, ramp, saw, step
from tests.core.equipment.test_cooler_view import (
    CHILLER,
    DEMAND,
    POWER,
    RUNNING,
    SUPPLY,
    VALVE,
    night_of,
)

WARM, ICE = "chiller/warming", "chiller/freezing"


def test_called_for_and_above_its_band_for_its_delay() -> None:
    night = night_of(SUPPLY, VALVE).play(120, mid=noisy(10.0), supply=step(4.0, 7.0, 60), valve=1)
    (raised,) = night.raised(WARM)
    assert 75 <= raised <= 75 + 5
    assert night.evidence(WARM) == ("supply=7.0", "called_valve")
    assert {page.role for page in night.messages(WARM)} == {"maintenance"}


def test_nobody_calls_and_its_standing_water_warms() -> None:
    night = night_of(SUPPLY, VALVE).play(600, mid=noisy(9.9), supply=ramp(3.0, 0.8), valve=0)
    assert not night.alarms()


def test_one_that_is_known_to_stand_still_rests_or_is_told_as_stopped() -> None:
    night = night_of(SUPPLY, DEMAND, RUNNING).play(
        120, mid=noisy(10.0), supply=7.0, demand=1, running=0
    )
    assert night.alarms() == {"chiller/stopped"}


def test_a_short_warm_spell_at_the_start_of_a_run_is_nothing() -> None:
    """Ten minutes of warm water until the evaporator is cold."""
    night = night_of(SUPPLY, VALVE).play(
        300, mid=noisy(10.0), supply=step(4.0, 7.5, 60, 70), valve=1
    )
    assert not night.alarms()


def test_a_saw_tooth_within_the_band_is_its_thermostat() -> None:
    night = night_of(SUPPLY, VALVE).play(
        24 * 60, mid=noisy(10.0), supply=saw(4.5, 3.0, 20), valve=1
    )
    assert not night.alarms()


def test_it_is_over_when_its_water_is_cold_again() -> None:
    night = night_of(SUPPLY, VALVE).play(120, mid=noisy(10.0), supply=7.0, valve=1)
    night.play(180, mid=noisy(10.0), supply=4.0, valve=1)
    (over,) = night.over(WARM)
    assert 125 <= over <= 130


def test_when_the_valve_shuts_a_warm_supply_is_not_over_but_nothing_new_either() -> None:
    night = night_of(SUPPLY, VALVE).play(120, mid=noisy(10.0), supply=7.0, valve=1)
    night.play(300, mid=noisy(10.0), supply=7.0, valve=0)
    assert len(night.raised(WARM)) == 1


def test_water_near_freezing_is_told_after_ten_minutes() -> None:
    night = night_of(SUPPLY).play(120, mid=noisy(10.0), supply=step(2.0, 0.1, 60))
    (raised,) = night.raised(ICE)
    assert 70 <= raised <= 75
    assert night.evidence(ICE) == ("supply=0.1",)


@pytest.mark.parametrize("change", [{"brine": True}, {"band": (-8.0, -2.0)}, {"kind": "built-in"}])
def test_brine_may_be_below_nothing(change: dict[str, object]) -> None:
    """Where it is said, where the band says so, and where no water is chilled."""
    cooler = msgspec.structs.replace(CHILLER, **change)  # type: ignore[arg-type]
    night = night_of(SUPPLY, cooler=cooler).play(200, mid=noisy(10.0), supply=-5.0)
    assert ICE not in night.alarms()


def test_it_thaws_and_is_over() -> None:
    night = (
        night_of(SUPPLY)
        .play(120, mid=noisy(10.0), supply=0.1)
        .play(160, mid=noisy(10.0), supply=1.5)
    )
    (over,) = night.over(ICE)
    assert 125 <= over <= 130


@pytest.mark.parametrize(("supply", "over"), [(0.45, False), (0.55, True)])
def test_water_has_thawed_when_it_is_two_tenths_above_near_freezing(
    supply: float, over: bool
) -> None:
    night = night_of(SUPPLY).play(120, mid=noisy(10.0), supply=0.1)
    night.play(180, mid=noisy(10.0), supply=supply)
    assert bool(night.over(ICE)) is over


def test_a_cooler_without_a_band_has_nothing_to_be_above() -> None:
    bare = msgspec.structs.replace(CHILLER, band=None)
    night = night_of(SUPPLY, VALVE, cooler=bare).play(200, mid=noisy(10.0), supply=12.0, valve=1)
    assert not night.alarms() & {WARM, ICE}


def test_a_heater_does_not_warm_in_this_sense() -> None:
    heater = msgspec.structs.replace(CHILLER, kind="heater", band=(25.0, 40.0))
    night = night_of(SUPPLY, VALVE, cooler=heater).play(200, mid=noisy(10.0), supply=60.0, valve=1)
    assert not night.alarms() & {WARM, ICE}


# --------------------------------------------------------------------------- a cold store's machine

STORE = Place(
    id="store", kind="cold-store", name="Koji cold store", band=(1.0, 8.0), delay=45 * MINUTE,
    cooler="machine",
)  # fmt: skip
MACHINE = Cooler(
    id="machine", kind="cold-room", name="Store machine", band=(1.0, 8.0), delay=45 * MINUTE,
    rated_watts=900,
)  # fmt: skip
INSIDE = Probe(id="inside", of="store", measures="air")
COIL = Probe(id="coil", of="machine", measures="air")
DRAW = msgspec.structs.replace(POWER, of="machine")


def defrost(minute: float) -> float:
    since = minute % 360
    return 4.0 + (7.0 * since / 30 if since < 30 else 7.0 * math.exp(-(since - 30) / 12))


def test_an_electric_defrost_and_its_recovery_are_no_failure_of_the_machine() -> None:
    """Full power and warm air for half an hour, four times a day (common practice); the delay of
    store and machine is longer than that and the recovery."""
    night = Night(house(STORE, MACHINE, INSIDE, COIL, DRAW))
    night.play(24 * 60, inside=defrost, coil=defrost, power=lambda m: 900 if m % 360 < 90 else 40)
    assert not night.alarms()


def test_a_machine_that_runs_on_and_keeps_nothing_cold_is_told() -> None:
    night = Night(house(STORE, MACHINE, INSIDE, COIL, DRAW))
    night.play(60, inside=4.0, coil=4.0, power=500)
    night.play(300, inside=ramp(4.0, 4.0, since=60), coil=ramp(4.0, 4.0, since=60), power=900)
    assert {"machine/not-cooling", "machine/warming"} & night.alarms()


def test_what_it_answers_of_warm_water_as_it_is_called_for_and_rests() -> None:
    """Above 6 °C from 35 on: while nobody calls, or it rests, the time is given back."""
    night = night_of(SUPPLY, VALVE, RUNNING)
    assert night.why(WARM) == ["lacks: no-value", "lacks: must-rise edge=6 wanted=15"]
    night.play(30, mid=10.0, supply=4.0, valve=1, running=1)
    assert night.why(WARM) == ["lacks: must-rise value=4 edge=6 wanted=15"]
    night.play(40, mid=10.0, supply=7.0, valve=1, running=1)
    assert night.why(WARM) == [
        "seen: is-above value=7 edge=6", "lacks: runs-out until=50 lasted=5 wanted=15",
        "delay: since=35 how=seen spent=5 wanted=15 due=50",
    ]  # fmt: skip
    night.play(43, mid=10.0, supply=7.0, valve=0, running=1)
    spent = ["lacks: uncalled", "delay: since=35 how=seen spent=4 wanted=15"]
    assert night.why(WARM) == spent
    night.play(46, mid=10.0, supply=7.0, valve=1, running=0)
    assert night.why(WARM)[0] == "lacks: rests"
    night.play(90, mid=10.0, supply=7.0, valve=1, running=1)
    assert night.why(WARM)[:3] == [
        "stands", "seen: is-above value=7 edge=6", "ends: over-below value=7 edge=5.7 wanted=5",
    ]  # fmt: skip
    assert night.raised(WARM) == [62]
    night.play(100, mid=10.0, supply=5.8, valve=1, running=1)
    assert night.stands(WARM), "a tenth inside is no return"
    night.play(120, mid=10.0, supply=5.7, valve=1, running=1)
    assert night.over(WARM) == [110]
    night.log("tank", "batch-end")
    assert night.why(WARM) == night.why(ICE) == []


def test_what_it_answers_of_water_near_freezing() -> None:
    night = night_of(SUPPLY)
    assert night.why(ICE) == ["lacks: no-value", "lacks: must-fall edge=0.3 wanted=10"]
    night.play(30, mid=10.0, supply=0.3)
    assert night.why(ICE) == ["lacks: must-fall value=0.3 edge=0.3 wanted=10"]
    night.play(40, mid=10.0, supply=0.2)
    assert night.why(ICE) == [
        "seen: is-below value=0.2 edge=0.3", "lacks: runs-out until=43 lasted=7 wanted=10",
        "delay: since=33 how=seen spent=7 wanted=10 due=43",
    ]  # fmt: skip
    night.play(60, mid=10.0, supply=0.2).play(67, mid=10.0, supply=0.6)
    assert night.raised(ICE) == [43]
    assert "ends: over-above value=0.6 edge=0.5 since=65 wanted=5" in night.why(ICE)
    night.play(80, mid=10.0, supply=0.6)
    assert night.over(ICE) == [70]
    alarm = night.engine.alarm_manager.alarm("chiller", "freezing")
    assert alarm.since == night.start + 33 * 60


def test_what_cannot_freeze_and_what_has_no_band_answer_nothing() -> None:
    brine = night_of(SUPPLY, cooler=msgspec.structs.replace(CHILLER, brine=True))
    assert brine.why(ICE) == [] and brine.why(WARM)
    bare = night_of(SUPPLY, cooler=msgspec.structs.replace(CHILLER, band=None))
    assert bare.why(WARM) == bare.why(ICE) == []
    heats = night_of(SUPPLY, cooler=msgspec.structs.replace(CHILLER, kind="heater"))
    assert heats.why(WARM) == heats.why(ICE) == []


def test_a_band_that_begins_at_nothing_is_of_water() -> None:
    night = night_of(SUPPLY, cooler=msgspec.structs.replace(CHILLER, band=(0.0, 6.0)))
    assert night.play(40, mid=10.0, supply=0.1).raised(ICE)


def test_while_its_water_says_nothing_neither_is_over() -> None:
    night = night_of(SUPPLY, VALVE).play(60, mid=10.0, supply=7.0, valve=1)
    assert night.play(90, mid=10.0, valve=1).stands(WARM)
    assert night.why(WARM)[:2] == ["stands", "lacks: no-value since=68"]
    alarm = night.engine.alarm_manager.alarm("chiller", "warming")
    assert (alarm.value, alarm.planned) == (7.0, 6.0)
