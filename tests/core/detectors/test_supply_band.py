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
