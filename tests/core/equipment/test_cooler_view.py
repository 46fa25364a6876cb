"""What every judgement of a cooler stands on: is it called for, does it run, what comes out."""

from __future__ import annotations

import msgspec
import pytest

from kuraban.core.equipment.cooler_view import CoolerView, unbroken
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


def test_a_bed_that_is_worked_by_hand_asks_for_no_heat() -> None:
    """It is meant to cool; a quarter of an hour after the work it is judged again."""
    heater = Cooler(id="heater", kind="heater", name="Heater")
    bed = Place(id="tank", kind="koji-bed", name="Koji bed 1", heater="heater")
    night = Night(house(bed, heater, MID, courses=(KOJI_COURSE,)))
    night.batch("tank", "koji")
    night.play(60, mid=36.4)
    night.log("tank", "handwork", within="20m")
    night.play(90, mid=34.5)
    assert seen(night, "heater").called_by(night.engine.now) is None
    night.play(100, mid=34.5)
    assert seen(night, "heater").called_by(night.engine.now) == "called_warm"


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


@pytest.mark.parametrize(
    ("told", "rated", "runs"),
    [
        ({"power": 75}, 1500, True),
        ({"power": 74}, 1500, False),
        ({"power": 60}, None, True),
        ({"power": 59}, None, False),
        ({"running": 1, "power": 5}, 1500, False),
        ({"running": 1, "power": 6}, 1500, True),
        ({"running": 0, "power": 1500}, 1500, False),
    ],
)
def test_it_runs_from_a_twentieth_of_its_rated_draw_or_sixty_watts(
    told: dict[str, float], rated: float | None, runs: bool
) -> None:
    """A contact that says so is believed from more than five watts on."""
    cooler = msgspec.structs.replace(CHILLER, rated_watts=rated)
    night = night_of(RUNNING, POWER, cooler=cooler).play(10, mid=10.0, **told)
    assert seen(night).runs(night.engine.now) is runs


@pytest.mark.parametrize(("supply", "off"), [(6.0, False), (6.1, True), (0.2, False)])
def test_what_a_chiller_makes_is_off_when_it_is_too_warm(supply: float, off: bool) -> None:
    night = night_of(SUPPLY).play(10, mid=10.0, supply=supply)
    assert seen(night).off_band(night.engine.now) is off
    assert seen(night).keeps(night.engine.now) == pytest.approx(supply)


@pytest.mark.parametrize(("supply", "off"), [(40.0, False), (39.9, True), (60.0, False)])
def test_what_a_heater_makes_is_off_when_it_is_too_cold(supply: float, off: bool) -> None:
    """Of a heater more warmth is better: it keeps it the other way up."""
    heater = Cooler(id="chiller", kind="heater", name="Heater", band=(40.0, 55.0))
    night = Night(house(TANK, CELLAR, MID, heater, SUPPLY, courses=(course(),)))
    night.play(10, mid=10.0, supply=supply)
    assert seen(night).off_band(night.engine.now) is off
    assert seen(night).keeps(night.engine.now) == pytest.approx(-supply)


def test_nobody_knows_whether_it_is_off_without_a_probe() -> None:
    night = night_of(RUNNING).play(10, mid=10.0, running=1)
    assert seen(night).off_band(night.engine.now) is None
    assert seen(night).keeps(night.engine.now) is None
    assert seen(night).keeps_rise(night.engine.now, 600.0) is None


@pytest.mark.parametrize(("valve", "opened"), [(1, True), (0, False), (None, None)])
def test_whether_a_valve_is_open_is_known_where_one_speaks(
    valve: float | None, opened: bool | None
) -> None:
    told = {} if valve is None else {"valve": valve}
    night = night_of(VALVE).play(10, mid=10.0, **told)
    assert seen(night).valve_open(night.engine.now) is opened


def test_one_open_valve_of_several_is_open_and_one_known_shut_is_shut() -> None:
    second = msgspec.structs.replace(TANK, id="other", name="Tank 4", cooler="chiller")
    other = Probe(id="other-valve", of="other", measures="valve")
    tank = msgspec.structs.replace(TANK, cooler="chiller")
    for told, opened in (
        ({"valve": 0, "other-valve": 1}, True),
        ({"valve": 0, "other-valve": 0}, False),
        ({"other-valve": 0}, False),
        ({"valve": 0}, False),
    ):
        night = Night(house(tank, second, CELLAR, MID, CHILLER, VALVE, other, courses=(course(),)))
        night.play(10, mid=10.0, **told)
        assert seen(night).valve_open(night.engine.now) is opened


def room_kept() -> Night:
    """A cellar that its machine cools, with a probe in its air."""
    machine = Cooler(id="chiller", kind="cold-room", name="Cellar machine")
    cooled = msgspec.structs.replace(CELLAR, cooler="chiller")
    air = Probe(id="air", of="cellar", measures="air")
    return Night(house(TANK, cooled, MID, machine, air, courses=(course(),)))


def test_a_machine_without_a_probe_keeps_the_room_that_it_serves() -> None:
    night = room_kept().play(61, mid=10.0, air=lambda minute: 5.0 + minute / 60)
    view, now = seen(night), night.engine.now
    assert view.keeps(now) == pytest.approx(6.0, abs=0.1)
    rise = view.keeps_rise(now, 1800.0)
    assert rise == pytest.approx(0.4, abs=0.03)


def test_a_heater_warms_what_it_keeps_the_right_way() -> None:
    heater = Cooler(id="chiller", kind="heater", name="Heater")
    warmed = msgspec.structs.replace(CELLAR, heater="chiller")
    air = Probe(id="air", of="cellar", measures="air")
    night = Night(house(TANK, warmed, MID, heater, air, courses=(course(),)))
    night.play(61, mid=10.0, air=lambda minute: 5.0 + minute / 60)
    assert seen(night).keeps(night.engine.now) == pytest.approx(-6.0, abs=0.1)
    assert seen(night).keeps_rise(night.engine.now, 1800.0) == pytest.approx(-0.4, abs=0.03)


@pytest.mark.parametrize(("from_minute", "known"), [(38, True), (41, False)])
def test_seven_tenths_of_a_stretch_tell_how_much_it_warmed(from_minute: float, known: bool) -> None:
    """Of half an hour 21 minutes are enough."""
    night = night_of(SUPPLY).play(60, mid=10.0, supply=lambda m: 4.0 if m >= from_minute else None)
    rise = seen(night).rise("chiller", night.engine.now, 1800.0, "supply")
    assert (rise is not None) is known


def test_four_readings_tell_how_much_it_warmed_and_three_do_not() -> None:
    for every, known in ((600, True), (900, False)):
        slow = msgspec.structs.replace(SUPPLY, every=float(every))
        night = night_of(slow).play(61, mid=10.0, supply=lambda m: 4.0 + m / 60)
        rise = seen(night).rise("chiller", night.engine.now, 1900.0, "supply")
        assert (rise is not None) is known


@pytest.mark.parametrize(("air", "called_for"), [(8.0, None), (8.1, "called_warm"), (0.5, None)])
def test_a_store_calls_its_machine_above_its_band_alone(air: float, called_for: str | None) -> None:
    machine = Cooler(id="chiller", kind="cold-room", name="Store machine")
    store = Place(id="tank", kind="cold-store", name="Store", band=(1, 8), cooler="chiller")
    night = Night(house(store, machine, msgspec.structs.replace(MID, measures="air")))
    assert called(night.play(10, mid=air)) == called_for


@pytest.mark.parametrize(("air", "called_for"), [(1.0, None), (0.9, "called_warm"), (9.0, None)])
def test_a_store_calls_its_heater_below_its_band_alone(air: float, called_for: str | None) -> None:
    heater = Cooler(id="chiller", kind="heater", name="Store heater")
    store = Place(id="tank", kind="cold-store", name="Store", band=(1, 8), heater="chiller")
    night = Night(house(store, heater, msgspec.structs.replace(MID, measures="air")))
    assert called(night.play(10, mid=air)) == called_for


def test_all_that_a_probe_said_below_an_edge_has_a_beginning() -> None:
    """Back to twenty minutes ago, and not beyond the last word that was above."""
    night = night_of(POWER).play(60, mid=10.0, power=lambda m: 3.0 if m >= 50 else 900.0)
    now, probes = night.engine.now, night.view.hanging("chiller", "power")
    assert unbroken(probes, 5.0, now) == night.start + 50 * 60
    assert unbroken(probes, 5.0, now, above=True) == now
    assert unbroken(probes, 1000.0, now) == night.start + 40 * 60
    assert unbroken([], 5.0, now) == now


def test_what_lies_on_the_edge_itself_lies_below_it() -> None:
    """A meter that stood at 41 W from 5 on: below an edge of 41, not above it."""
    night = night_of(POWER).play(5, mid=10.0, power=100).play(15, mid=10.0, power=41)
    power, now = night.view.hanging("chiller", "power"), night.engine.now
    assert unbroken(power, 41.0, now) == night.start + 5 * 60
    assert unbroken(power, 40.9, now) == now
    assert unbroken(power, 41.0, now, above=True) == now
    assert unbroken(power, 40.9, now, above=True) == night.start


def test_no_further_back_than_twenty_minutes_is_looked() -> None:
    night = night_of(POWER).play(60, mid=10.0, power=41)
    assert unbroken(night.view.hanging("chiller", "power"), 50.0, night.engine.now) == (
        night.engine.now - 20 * 60
    )


def test_what_it_keeps_is_its_water_else_its_rooms_air_and_of_a_heater_the_other_way_up() -> None:
    room = msgspec.structs.replace(CELLAR, cooler="chiller")
    air = Probe(id="air", of="cellar", measures="air")
    tank = msgspec.structs.replace(TANK, cooler="chiller")
    for kind, sign in (("chilled-water", 1.0), ("heater", -1.0)):
        cooler = msgspec.structs.replace(CHILLER, kind=kind)
        if kind == "heater":
            room = msgspec.structs.replace(CELLAR, heater="chiller")
        night = Night(house(tank, room, MID, cooler, SUPPLY, air, courses=(course(),)))
        night.batch()
        night.play(10, mid=10.0, supply=4.0, air=7.0)
        assert seen(night, "chiller").keeps(night.engine.now) == sign * 4.0
        night.play(40, mid=10.0, air=7.0)
        assert seen(night, "chiller").keeps(night.engine.now) == sign * 7.0
        night.play(70, mid=10.0)
        assert seen(night, "chiller").keeps(night.engine.now) is None
        rises = Night(house(tank, room, MID, cooler, air, courses=(course(),)))
        rises.batch()
        rises.play(40, mid=10.0, air=lambda m: 7.0 + m / 10)
        rise = seen(rises, "chiller").keeps_rise(rises.engine.now, 1200.0)
        assert rise == pytest.approx(sign * 1.6, abs=0.01)


def test_water_in_a_pipe_is_its_own_after_ten_minutes_of_an_open_valve() -> None:
    """A unit in a room has no pipe."""
    for valve, kind, known in ((1, "chilled-water", 4.0), (0, "chilled-water", None),
                               (0, "cold-room", 4.0)):  # fmt: skip
        cooler = msgspec.structs.replace(CHILLER, kind=kind)
        night = night_of(SUPPLY, VALVE, RUNNING, cooler=cooler)
        night.play(20, mid=10.0, supply=4.0, valve=valve, running=1)
        one, now = seen(night), night.engine.now
        assert one.habit is not None
        ran = one.stands(now)
        assert (ran.pipe, ran.valve, ran.runs, ran.keeps) == (
            kind == "chilled-water", bool(valve), True, 4.0,
        )  # fmt: skip
        assert one.keeps_truly(ran) == known


def test_of_two_valves_one_open_is_open_and_one_known_is_known() -> None:
    tanks = [msgspec.structs.replace(TANK, id=f"t{n}", cooler="chiller") for n in range(2)]
    valves = [msgspec.structs.replace(VALVE, id=f"v{n}", of=f"t{n}") for n in range(2)]
    for told, opened in (((0, 1), True), ((1, 0), True), ((0, 0), False), ((None, 0), False),
                         ((0, None), False), ((None, None), None)):  # fmt: skip
        night = Night(house(*tanks, CHILLER, *valves, courses=(course(),)))
        night.batch("t0")
        known = {f"v{n}": value for n, value in enumerate(told) if value is not None}
        night.play(10, **known)
        assert seen(night).valve_open(night.engine.now) is opened


def test_a_room_with_a_band_calls_whatever_its_valve_says_and_a_tank_does_not() -> None:
    """Warm beyond its band, its water out of band too; a shut valve silences a tank alone."""
    store = Place(id="tank", kind="cold-store", name="Store", band=(1.0, 8.0), cooler="chiller")
    inside = Probe(id="inside", of="tank", measures="air")
    for inside_reads, valve, why in ((9.0, 0, "called_warm"), (7.0, 0, None), (8.0, 0, None),
                                     (7.0, 1, "called_valve")):  # fmt: skip
        night = Night(house(store, CHILLER, SUPPLY, VALVE, inside))
        night.play(10, inside=inside_reads, supply=9.0, valve=valve)
        assert called(night) == why
