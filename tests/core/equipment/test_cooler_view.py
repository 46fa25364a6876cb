"""What every judgement of a cooler stands on: is it called for, does it run, what comes out."""

from __future__ import annotations

import msgspec
import pytest

from kuraban.core.equipment.cooler_view import CoolerView
from kuraban.core.site import Cooler, Place, Probe
from tests.core.detectors.kit import CELLAR, KOJI_COURSE, MID, TANK, Night, cellar, course, house

CHILLER = Cooler(
    id="chiller", kind="chilled-water", name="Chiller 1", rated_watts=1500, band=(0.5, 6.0)
)
SUPPLY = Probe(id="supply", of="chiller", measures="supply")
POWER = Probe(id="power", of="chiller", measures="power")
RUNNING = Probe(id="running", of="chiller", measures="running")
DEMAND = Probe(id="demand", of="chiller", measures="demand")
VALVE = Probe(id="valve", of="tank", measures="valve")


def night_of(*probes: Probe, cooler: Cooler = CHILLER) -> Night:
    tank = msgspec.structs.replace(TANK, cooler=cooler.id)
    night = Night(house(tank, CELLAR, MID, cooler, *probes, courses=(course(),)))
    night.batch()
    return night


def seen(night: Night, cooler: str = "chiller") -> CoolerView:
    return CoolerView(night.view, cooler)


def called(night: Night) -> str | None:
    return seen(night).called_by(night.engine.now)


def test_its_own_demand_calls_it() -> None:
    assert called(night_of(DEMAND).play(10, mid=10.0, demand=1)) == "called_demand"
    assert called(night_of(DEMAND).play(10, mid=10.0, demand=0)) is None


def test_an_open_valve_of_a_tank_it_serves_calls_it() -> None:
    assert called(night_of(VALVE).play(10, mid=10.0, valve=1)) == "called_valve"
    assert called(night_of(VALVE).play(10, mid=10.0, valve=0)) is None


def test_a_warm_tank_calls_it_where_its_supply_is_too_warm() -> None:
    """Warm by four fifths of the notice band; cold water in the line needs nobody."""
    assert called(night_of(SUPPLY).play(10, mid=10.3, supply=8.0)) == "called_warm"
    assert called(night_of(SUPPLY).play(10, mid=10.3, supply=4.0)) is None
    assert called(night_of(SUPPLY).play(10, mid=10.2, supply=8.0)) is None


def test_a_tank_whose_valve_is_shut_asks_for_nothing() -> None:
    """A chiller that rests in January while its standing water warms is healthy."""
    assert called(night_of(SUPPLY, VALVE).play(10, mid=10.4, supply=9.0, valve=0)) is None


def test_a_demand_that_is_known_to_be_off_outweighs_a_warm_tank() -> None:
    assert called(night_of(SUPPLY, DEMAND).play(10, mid=10.4, supply=9.0, demand=0)) is None


def test_a_tank_without_a_batch_calls_nobody() -> None:
    night = Night(cellar(CHILLER, VALVE, SUPPLY, cooler="chiller"))
    night.play(10, mid=15.0, valve=1, supply=9.0)
    assert called(night) is None
    assert not seen(night).judged(night.engine.now)


def test_another_cooler_may_serve_it_from_now_on() -> None:
    second = msgspec.structs.replace(CHILLER, id="spare", name="Spare chiller")
    night = Night(cellar(CHILLER, second, VALVE, cooler="chiller"))
    night.batch()
    night.play(10, mid=10.0, valve=1)
    night.log("tank", "served-by", cooler="spare")
    night.play(20, mid=10.0, valve=1)
    assert called(night) is None
    assert seen(night, "spare").called_by(night.engine.now) == "called_valve"


@pytest.mark.parametrize(
    ("told", "runs"),
    [
        ({"running": 1}, True),
        ({"running": 0}, False),
        ({"power": 1100}, True),
        ({"power": 41}, False),
        ({"running": 1, "power": 0}, False),
        ({"running": 1, "power": 60}, True),
        ({}, None),
    ],
)
def test_it_runs_by_its_own_word_or_by_what_it_draws(
    told: dict[str, float], runs: bool | None
) -> None:
    """A word without any draw is a stuck contact."""
    night = night_of(RUNNING, POWER).play(10, mid=10.0, **told)
    assert seen(night).runs(night.engine.now) is runs


def test_old_words_are_none() -> None:
    night = night_of(RUNNING).play(10, mid=10.0, running=1).play(40, mid=10.0)
    assert seen(night).runs(night.engine.now) is None


def test_what_it_delivers_is_its_supply_else_its_air() -> None:
    night = night_of(SUPPLY).play(10, mid=10.0, supply=7.0)
    assert seen(night).makes(night.engine.now) == 7.0
    assert seen(night).off_band(night.engine.now) is True
    bare = msgspec.structs.replace(CHILLER, band=None)
    assert seen(night_of(SUPPLY, cooler=bare)).off_band(0.0) is None


def test_a_heater_is_called_by_a_bed_that_is_too_cold() -> None:
    heater = Cooler(id="heater", kind="heater", name="Heater")
    bed = Place(id="tank", kind="koji-bed", name="Koji bed 1", heater="heater")
    night = Night(house(bed, heater, MID, courses=(KOJI_COURSE,)))
    night.batch("tank", "koji")
    night.play(10, mid=35.4)
    assert seen(night, "heater").called_by(night.engine.now) == "called_warm"
    night.play(20, mid=36.4)
    assert seen(night, "heater").called_by(night.engine.now) is None


def test_a_cold_store_calls_its_machine_when_it_is_above_its_band() -> None:
    machine = Cooler(id="chiller", kind="cold-room", name="Store machine")
    store = Place(id="tank", kind="cold-store", name="Store", band=(1, 8), cooler="chiller")
    night = Night(house(store, machine, msgspec.structs.replace(MID, measures="air")))
    night.play(10, mid=9.0)
    assert called(night) == "called_warm"
    night.play(20, mid=7.0)
    assert called(night) is None


def test_how_much_it_warmed_is_told_by_the_middles_of_both_ends() -> None:
    night = night_of(SUPPLY).play(61, mid=10.0, supply=lambda m: 4.0 + m / 60)
    rise = seen(night).rise("chiller", night.engine.now, 1800.0, "supply")
    assert rise == pytest.approx(0.4, abs=0.03)
    short = night_of(SUPPLY).play(5, mid=10.0, supply=4.0)
    assert seen(short).rise("chiller", short.engine.now, 1800.0, "supply") is None
