"""A cooler that is called for and does nothing, or whose standing power is gone."""

from __future__ import annotations

import math

import msgspec
import pytest

from kuraban.core.site import Cooler, Place
from tests.core.detectors.kit import (
    AIR,
    MID,
    TANK,
    Night,
    course,
    house,
    koji,
    noisy,
    ramp,
    step,
)
from tests.core.equipment.test_cooler_view import (
    CHILLER,
    DEMAND,
    POWER,
    RUNNING,
    SUPPLY,
    VALVE,
    night_of,
)

ALARM = "chiller/stopped"
STANDING, PUMP, FULL = 41, 200, 1150


def cycling(on: float, off: float, low: float = STANDING) -> object:
    """Runs `on` minutes, rests `off`, drawing its standing power at rest."""
    return lambda m: FULL if m % (on + off) < on else low


def test_called_for_by_its_own_demand_and_not_running_ten_minutes_tell() -> None:
    night = night_of(DEMAND, RUNNING).play(120, mid=10.0, demand=step(0, 1, 60), running=0)
    (raised,) = night.raised(ALARM)
    assert 70 <= raised <= 72
    assert night.evidence(ALARM) == ("not_running", "called_demand")
    assert {page.role for page in night.pages(ALARM)} == {"maintenance"}


def test_a_valve_opens_and_it_draws_nothing_at_all() -> None:
    """Its breaker fell while it rested; it used to draw its standing power."""
    night = night_of(POWER, VALVE).play(30, mid=10.0, power=STANDING, valve=0)
    night.play(60, mid=10.0, power=0, valve=step(0, 1, 31))
    assert night.raised(ALARM)[0] <= 45


def test_the_ten_minutes_run_from_the_reading_that_shows_it() -> None:
    """Not from when the filter of the meter had its second reading and somebody looked."""
    night = night_of(DEMAND, POWER).play(75, mid=10.0, power=step(FULL, 0, 35), demand=1)
    (raised,) = night.raised(ALARM)
    assert 45 <= raised <= 46


def test_called_for_nine_minutes_it_is_only_slow() -> None:
    night = night_of(DEMAND, RUNNING).play(
        120, mid=10.0, demand=step(0, 1, 60), running=step(0, 1, 69)
    )
    assert not night.alarms()


def test_in_january_a_healthy_chiller_rests_for_hours_while_its_water_warms() -> None:
    """Nobody calls: its tanks are cold and their valves shut."""
    night = night_of(POWER, SUPPLY, VALVE)
    night.play(60, mid=10.0, power=cycling(15, 15), supply=3.0, valve=0)  # type: ignore[arg-type]
    night.play(900, mid=noisy(9.95), power=STANDING, supply=ramp(3.0, 0.6, since=60), valve=0)
    assert not night.alarms() & {ALARM, "chiller/warming", "chiller/not-cooling"}


@pytest.mark.parametrize(("warmest", "told"), [(5.5, True), (3.2, False)])
def test_one_that_never_rested_and_stands_still_is_told_once_its_water_is_warmer_than_ever(
    warmest: float, told: bool
) -> None:
    """Within its band all along; it ran at some draw whenever anybody looked, and turned at 3."""
    night = night_of(POWER, SUPPLY, VALVE)
    night.play(180, mid=10.0, power=350, valve=1, supply=lambda m: 2.5 + math.sin(m / 8) / 2)
    night.play(
        420, mid=noisy(10.0), power=STANDING, valve=1,
        supply=noisy(lambda m: min(2.5 + (m - 180) / 20, warmest), 0.04),
    )  # fmt: skip
    raised = night.raised(ALARM)
    assert bool(raised) is told
    assert not told or 180 + 60 + 10 <= raised[0] <= 180 + 60 + 13


def test_a_valve_open_while_cold_water_is_in_hand_needs_no_compressor() -> None:
    """The compressor cycles by itself; its supply is within the band all along."""
    night = night_of(POWER, SUPPLY, VALVE).play(
        600,
        mid=noisy(10.1),
        power=cycling(10, 50),
        supply=4.0,
        valve=1,  # type: ignore[arg-type]
    )
    assert ALARM not in night.alarms()


def sawing(minute: float) -> float:
    """Water of a buffer: up from 3 to 5 degrees in 90 minutes of rest, down in 30 of running."""
    turn = minute % 120
    return 3.0 + 2.0 * turn / 90 if turn < 90 else 5.0 - 2.0 * (turn - 90) / 30


def resting(minute: float) -> float:
    return FULL if minute % 120 >= 90 else STANDING


def test_a_locked_compressor_is_told_once_its_water_passes_where_it_always_started() -> None:
    """Standing power stays and the valve is open; it always started at 5 degrees."""
    night = night_of(POWER, SUPPLY, VALVE)
    night.play(360, mid=noisy(10.0), power=resting, supply=sawing, valve=1)
    night.play(600, mid=noisy(10.1), power=STANDING, supply=ramp(3.0, 1.0, since=360), valve=1)
    (raised,) = night.raised(ALARM)
    assert 360 + 150 <= raised <= 360 + 150 + 20, "5.5 degrees, and ten minutes"
    assert "called_valve" in night.evidence(ALARM)


def test_before_its_habit_is_known_its_band_counts() -> None:
    night = night_of(POWER, SUPPLY, VALVE)
    night.play(400, mid=noisy(10.1), power=STANDING, supply=ramp(4.0, 2.0, since=120), valve=1)
    (raised,) = night.raised(ALARM)
    assert 180 <= raised <= 180 + 15


def test_it_rests_on_cold_water_for_hours_under_an_open_valve() -> None:
    """A buffer of two degrees, longer than it ever rested before: nothing is wrong."""
    night = night_of(POWER, SUPPLY, VALVE)
    night.play(360, mid=noisy(10.0), power=resting, supply=sawing, valve=1)
    night.play(900, mid=noisy(10.1), power=STANDING, supply=noisy(3.5), valve=1)
    assert not night.alarms()


def test_one_that_runs_at_a_quarter_of_its_power_does_not_run_with_its_valves() -> None:
    """A compressor that turns down is no pump: it may rest under an open valve."""
    night = night_of(POWER, SUPPLY, VALVE)
    quarter = lambda m: 0.25 * FULL if m % 120 >= 90 else STANDING  # noqa: E731
    night.play(700, mid=noisy(10.1), power=quarter, supply=sawing, valve=1)
    assert ALARM not in night.alarms()


def test_water_that_warms_in_a_pipe_behind_shut_valves_is_no_stop() -> None:
    """It stood for hours; the valve opens, and for minutes the probe feels the pipe's own water."""
    night = night_of(POWER, SUPPLY, VALVE)
    night.play(360, mid=noisy(10.0), power=resting, supply=sawing, valve=1)
    night.play(600, mid=noisy(10.0), power=STANDING, supply=ramp(3.0, 2.0, since=360), valve=0)
    night.play(660, mid=noisy(10.1), power=STANDING, supply=noisy(3.5), valve=1)
    assert ALARM not in night.alarms()


def test_a_bank_of_ice_rests_all_day_while_one_tank_of_three_wanders() -> None:
    """It freezes at night; by day it stands on its ice, and a tank with a hand valve is warm."""
    tanks = [msgspec.structs.replace(TANK, id=f"tank-{n}", cooler="chiller") for n in range(3)]
    probes = [msgspec.structs.replace(MID, id=f"p{n}", of=f"tank-{n}") for n in range(3)]
    night = Night(house(*tanks, CHILLER, *probes, POWER, courses=(course(),)))
    for n in range(3):
        night.batch(f"tank-{n}")
    night.play(
        700, p0=noisy(ramp(10.0, 0.05)), p1=noisy(10.0), p2=noisy(10.0),
        power=lambda m: FULL if m < 60 else STANDING,
    )  # fmt: skip
    assert ALARM not in night.alarms()


def test_the_koji_itself_warms_its_room_while_the_heater_rests() -> None:
    """Its room's air stands above the point at which it always started."""
    night = koji_room()
    night.play(240, mid=noisy(36.0), air=room_air, power=heats)
    night.play(700, mid=noisy(35.2), air=33.5, power=6)
    assert ALARM not in night.alarms()


def test_a_dead_heater_is_told_when_its_room_falls_below_where_it_always_started() -> None:
    night = koji_room()
    night.play(240, mid=noisy(36.0), air=room_air, power=heats)
    night.play(400, mid=noisy(36.0), air=ramp(32.0, -3.0, since=240), power=6)
    (raised,) = night.raised(ALARM)
    assert 250 <= raised <= 275, "while the bed is still as planned"


def koji_room() -> Night:
    heater = Cooler(id="chiller", kind="heater", name="Heater", rated_watts=2000)
    room = Place(id="cellar", kind="room", name="Koji room", heater="chiller")
    bed = Place(id="tank", kind="koji-bed", name="Koji bed 1", room="cellar")
    warm = course(koji(36.0), course_id="koji", never=(20, 46), whither="koji-bed")
    night = Night(house(bed, room, heater, MID, AIR, POWER, courses=(warm,)))
    night.batch("tank", "koji")
    return night


def room_air(minute: float) -> float:
    turn = minute % 40
    return 33.0 - turn / 30 if turn < 30 else 32.0 + (turn - 30) / 10


def heats(minute: float) -> float:
    return 1800 if minute % 40 >= 30 else 6


def test_without_a_supply_probe_it_must_have_rested_longer_than_it_is_used_to() -> None:
    night = night_of(POWER, VALVE)
    night.play(240, mid=noisy(10.0), power=cycling(10, 50), valve=1)  # type: ignore[arg-type]
    night.play(262, mid=noisy(10.1), power=STANDING, valve=1)
    assert ALARM not in night.alarms()
    night.play(400, mid=noisy(10.1), power=STANDING, valve=1)
    (raised,) = night.raised(ALARM)
    assert 190 + 75 <= raised <= 190 + 75 + 20


@pytest.mark.parametrize("valve", [0, 1])
def test_its_standing_power_gone_is_told_whether_anybody_calls_or_not(valve: float) -> None:
    """41 W of controls and crankcase heater go to nothing: plug or breaker, within minutes."""
    night = night_of(POWER, SUPPLY, VALVE)
    night.play(180, mid=noisy(10.0), power=cycling(15, 45), supply=4.0, valve=0)  # type: ignore[arg-type]
    night.play(260, mid=noisy(10.0), power=0, supply=ramp(4.0, 0.5, since=180), valve=valve)
    (raised,) = night.raised(ALARM)
    assert 180 + 6 <= raised <= 180 + 8
    assert night.evidence(ALARM)[0] == "standing_gone"


@pytest.mark.parametrize(("left", "told"), [(0.3, True), (0.4, False)])
def test_a_third_of_its_standing_power_left_is_the_edge(left: float, told: bool) -> None:
    """Less is a crankcase heater without current; more is a meter that reads low."""
    night = night_of(POWER, SUPPLY, VALVE)
    night.play(180, mid=noisy(10.0), power=cycling(15, 45), supply=4.0, valve=0)  # type: ignore[arg-type]
    night.play(260, mid=noisy(10.0), power=left * STANDING, supply=4.0, valve=0)
    assert bool(night.raised(ALARM)) is told


def test_a_plain_chiller_that_draws_nothing_at_rest_has_lost_nothing() -> None:
    night = night_of(POWER, SUPPLY, VALVE).play(
        900,
        mid=noisy(10.0),
        power=cycling(15, 90, low=0),
        supply=4.0,
        valve=0,  # type: ignore[arg-type]
    )
    assert not night.alarms()


def test_one_reading_of_nothing_is_no_stop() -> None:
    power = lambda m: 0 if m % 40 == 20 else STANDING  # noqa: E731
    night = night_of(POWER, VALVE).play(600, mid=noisy(10.0), power=power, valve=0)
    assert ALARM not in night.alarms()


def test_one_whose_pump_runs_with_the_valve_is_stopped_when_the_pump_stays_away() -> None:
    """Seen to say that it runs on its pump alone, compressor resting: so an open valve and
    standing power are enough, however cold its water still is."""
    night = night_of(POWER, RUNNING, SUPPLY, VALVE)
    valve = lambda m: 1.0 if m % 60 < 30 else 0.0  # noqa: E731
    power = lambda m: (FULL if m % 60 < 10 else PUMP) if valve(m) else STANDING  # noqa: E731
    night.play(180, mid=noisy(10.0), power=power, running=valve, supply=4.0, valve=valve)
    assert not night.alarms()
    night.play(240, mid=noisy(10.0), power=STANDING, running=0, supply=4.0, valve=1)
    (raised,) = night.raised(ALARM)
    assert 190 <= raised <= 195


def test_it_is_over_when_it_has_run_again_for_two_minutes() -> None:
    night = night_of(DEMAND, RUNNING).play(60, mid=10.0, demand=1, running=0)
    assert night.stands(ALARM)
    night.play(70, mid=10.0, demand=1, running=1)
    (over,) = night.over(ALARM)
    assert over == 61 + 2, "from the look that first saw it run"


def test_it_is_over_half_an_hour_after_anybody_last_called() -> None:
    night = night_of(DEMAND, RUNNING).play(60, mid=10.0, demand=1, running=0)
    night.play(85, mid=10.0, demand=0, running=0)
    assert night.stands(ALARM)
    night.play(95, mid=10.0, demand=0, running=0)
    assert night.over(ALARM)


def test_a_short_call_in_between_begins_the_half_hour_anew() -> None:
    night = night_of(DEMAND, RUNNING).play(60, mid=10.0, demand=1, running=0)
    night.play(80, mid=10.0, demand=0, running=0).play(90, mid=10.0, demand=1, running=0)
    night.play(115, mid=10.0, demand=0, running=0)
    assert night.stands(ALARM)


def test_a_chiller_that_serves_no_batch_is_judged_for_nothing() -> None:
    night = Night(night_of(DEMAND, RUNNING).home)
    night.play(120, mid=10.0, demand=1, running=0)
    assert not night.alarms()


def test_out_of_service_it_is_not_judged() -> None:
    night = night_of(DEMAND, RUNNING).play(30, mid=10.0, demand=0, running=0)
    night.log("chiller", "out-of-service", reason="being repaired")
    night.play(120, mid=10.0, demand=1, running=0)
    assert not night.alarms()


def test_a_chiller_without_probes_cannot_be_told_as_stopped() -> None:
    night = night_of(VALVE).play(600, mid=noisy(10.0), valve=1)
    assert ALARM not in night.alarms()


def test_the_heater_of_a_koji_room_that_draws_nothing_while_the_bed_is_cold() -> None:
    heater = Cooler(id="chiller", kind="heater", name="Heater", rated_watts=2000)
    bed = Place(id="tank", kind="koji-bed", name="Koji bed 1", heater="chiller")
    warm = course(koji(38.0), course_id="koji", never=(20, 46), whither="koji-bed")
    night = Night(house(bed, heater, MID, POWER, courses=(warm,)))
    night.batch("tank", "koji")
    night.play(120, mid=noisy(38.0), power=lambda m: 1800 if m % 10 < 4 else 6)
    night.play(220, mid=noisy(ramp(38.0, -4.0, since=125)), power=0)
    (raised,) = night.raised(ALARM)
    assert raised <= 120 + 30
    assert night.pages(ALARM)[0].role == "maintenance"


def test_a_heater_that_cycles_is_fine() -> None:
    heater = Cooler(id="chiller", kind="heater", name="Heater", rated_watts=2000)
    bed = Place(id="tank", kind="koji-bed", name="Koji bed 1", heater="chiller")
    warm = course(koji(38.0), course_id="koji", never=(20, 46), whither="koji-bed")
    night = Night(house(bed, heater, MID, POWER, courses=(warm,)))
    night.batch("tank", "koji")
    night.play(600, mid=noisy(37.7), power=lambda m: 1800 if m % 15 < 4 else 0)
    assert not night.alarms()


def test_a_running_word_that_contradicts_the_meter_is_not_believed() -> None:
    slow = msgspec.structs.replace(RUNNING, every=300.0)
    night = night_of(slow, POWER, DEMAND)
    night.play(60, mid=10.0, running=1, power=FULL, demand=1)
    night.play(120, mid=10.0, running=1, power=0, demand=1)
    (raised,) = night.raised(ALARM)
    assert 66 <= raised <= 70


# -------------------------------------------------------------------------------- what it answers

RUNS = ["ends: over-runs wanted=2", "ends: over-uncalled wanted=30"]


def test_what_it_answers_from_the_call_to_the_return() -> None:
    night = night_of(DEMAND, RUNNING)
    assert night.why(ALARM) == ["lacks: runs-unknown"]
    night.play(30, mid=10.0, demand=0, running=0)
    assert night.why(ALARM) == ["lacks: not-called"]
    night.play(35, mid=10.0, demand=1, running=0)
    seen = ["seen: evidence word=not_running", "seen: evidence word=called_demand"]
    assert night.why(ALARM) == [
        *seen, "lacks: runs-out until=40 lasted=5 wanted=10",
        "delay: since=30 how=record spent=5 wanted=10 due=40",
    ]  # fmt: skip
    night.play(60, mid=10.0, demand=1, running=0)
    assert night.why(ALARM) == [
        "stands", *seen, *RUNS, "delay: since=30 how=record spent=10 wanted=10 due=40",
    ]  # fmt: skip
    assert night.raised(ALARM) == [40]
    alarm = night.engine.alarm_manager.alarm("chiller", "stopped")
    assert alarm.since == night.start + 30 * 60
    night.play(62, mid=10.0, demand=1, running=1)
    assert night.why(ALARM)[:2] == ["stands", "lacks: it-runs"]
    night.play(70, mid=10.0, demand=1, running=1)
    assert night.over(ALARM) == [63]
    night.log("tank", "batch-end")
    assert night.why(ALARM) == []


def test_what_it_answers_by_the_water_at_which_it_always_started() -> None:
    """At 5.4 °C; it passes that at 511, and ten minutes later it is told as of then."""
    night = night_of(POWER, SUPPLY, VALVE)
    night.play(360, mid=10.0, power=resting, supply=sawing, valve=1)
    assert night.why(ALARM) == ["lacks: it-runs"]
    warms = ramp(3.0, 1.0, since=360)
    night.play(500, mid=10.1, power=STANDING, supply=warms, valve=1)
    assert night.why(ALARM) == ["lacks: not-late value=5.267 edge=5.441"]
    night.play(525, mid=10.1, power=STANDING, supply=warms, valve=1)
    assert night.why(ALARM)[:4] == [
        "stands", "seen: evidence word=not_running", "seen: evidence word=called_valve",
        "seen: evidence value=5.7 word=supply",
    ]  # fmt: skip
    assert night.raised(ALARM) == [521]
    assert night.evidence(ALARM) == ("not_running", "called_valve", "supply=5.6")
    alarm = night.engine.alarm_manager.alarm("chiller", "stopped")
    assert (alarm.value, alarm.since) == (STANDING, night.start + 511 * 60)


def test_what_it_answers_of_a_heater_by_its_room() -> None:
    """Colder is later; figures as the thermometer shows them."""
    night = koji_room().play(240, mid=36.0, air=room_air, power=heats)
    night.play(252, mid=36.0, air=ramp(33.0, -1.0, since=240), power=6)
    assert night.why(ALARM) == ["lacks: not-late value=32.87 edge=31.59"]
    night.play(345, mid=36.0, air=ramp(33.0, -1.0, since=240), power=6)
    (raised,) = night.raised(ALARM)
    assert 335 <= raised <= 341


def test_what_it_answers_when_its_standing_power_is_gone() -> None:
    night = night_of(POWER, SUPPLY, VALVE)
    night.play(180, mid=10.0, power=cycling(15, 45), supply=4.0, valve=0)  # type: ignore[arg-type]
    night.play(185, mid=10.0, power=0, supply=4.0, valve=0)
    assert night.why(ALARM) == [
        "seen: evidence word=standing_gone", "lacks: runs-out until=186 lasted=5 wanted=6",
        "delay: since=180 how=record spent=5 wanted=6 due=186",
    ]  # fmt: skip
    night.play(190, mid=10.0, power=0, supply=4.0, valve=0)
    assert night.raised(ALARM) == [186]
    assert night.evidence(ALARM) == ("standing_gone",)
    night.play(260, mid=10.0, power=0, supply=4.0, valve=0)
    assert night.stands(ALARM), "nobody calls, and it is still without current"


def test_what_it_answers_of_its_rest_where_nothing_says_what_it_keeps() -> None:
    """Used to rest for 50 minutes: half as long again is too long."""
    night = night_of(POWER, VALVE)
    night.play(240, mid=10.0, power=cycling(10, 50), valve=1)  # type: ignore[arg-type]
    night.play(262, mid=10.0, power=STANDING, valve=1)
    assert night.why(ALARM) == ["lacks: rested lasted=70 wanted=75"]
    night.play(290, mid=10.0, power=STANDING, valve=1)
    assert night.raised(ALARM) == [277]
    assert night.evidence(ALARM) == ("not_running", "called_valve")


def test_one_of_which_no_rest_is_known_may_rest_for_two_hours() -> None:
    night = night_of(POWER, VALVE).play(20, mid=10.0, power=STANDING, valve=1)
    assert night.why(ALARM)[0].startswith("lacks: rested") and "wanted=120" in night.why(ALARM)[0]
    (raised,) = night.play(200, mid=10.0, power=STANDING, valve=1).raised(ALARM)
    assert 120 + 10 <= raised <= 120 + 14


@pytest.mark.parametrize(("kind", "wait"), [("cold-room", 40), ("built-in", 10)])
def test_a_unit_in_the_air_of_its_room_has_forty_minutes_for_a_thaw(kind: str, wait: int) -> None:
    """But not where its own controller asks for it."""
    unit = msgspec.structs.replace(CHILLER, kind=kind)  # type: ignore[arg-type]
    night = night_of(RUNNING, VALVE, SUPPLY, cooler=unit)
    night.play(30, mid=10.0, running=1, valve=0, supply=4.0)
    night.play(35, mid=10.0, running=0, valve=1, supply=9.0)
    assert f"wanted={wait}" in night.why(ALARM)[-1]
    asked = night_of(RUNNING, DEMAND, cooler=unit).play(40, mid=10.0, running=0, demand=1)
    assert asked.raised(ALARM) == [10]


def test_the_ten_minutes_begin_with_the_call_and_never_before_it() -> None:
    """It stood for an hour; the valve opens at 60: told at 70, and dated from the valve."""
    for probe in (DEMAND, VALVE):
        night = night_of(POWER, probe).play(60, mid=10.0, power=0, **{probe.id: 0})
        night.play(90, mid=10.0, power=0, **{probe.id: 1})
        assert night.raised(ALARM) == [70], probe.id
        alarm = night.engine.alarm_manager.alarm("chiller", "stopped")
        assert alarm.since == night.start + 60 * 60
        assert night.evidence(ALARM)[0] == "no_draw"


def test_half_an_hour_without_a_call_ends_it_and_no_sooner() -> None:
    night = night_of(DEMAND, RUNNING).play(60, mid=10.0, demand=1, running=0)
    night.play(120, mid=10.0, demand=0, running=0)
    assert night.over(ALARM) == [91]


def test_a_minute_of_running_is_no_return() -> None:
    night = night_of(DEMAND, RUNNING).play(60, mid=10.0, demand=1, running=0)
    night.play(61, mid=10.0, demand=1, running=1).play(70, mid=10.0, demand=1, running=0)
    assert night.stands(ALARM)


def test_a_plug_pulled_from_one_that_always_drew_something_is_told_by_forty_readings() -> None:
    """More than 20 W at every one of forty readings: nothing at all is a loss; thirty prove it
    of none, and neither does one that rests at 15 W."""
    for low, count, told in ((41, 45, True), (41, 30, False), (15, 30, False)):
        night = night_of(POWER, VALVE).play(count, mid=10.0, power=low, valve=0)
        night.play(count + 20, mid=10.0, power=0, valve=0)
        assert (ALARM in night.alarms()) is told, (low, count)


# ------------------------------------------------------------------------------ what it is used to


def valved(minute: float) -> float:
    """A valve that opens for half of each turn of twenty minutes."""
    return 1.0 if minute % 20 < 10 else 0.0


@pytest.mark.parametrize(("pump", "told"), [(440, True), (460, False)])
def test_three_tenths_of_its_rated_draw_are_a_pump(pump: float, told: bool) -> None:
    """450 of 1500 W; a compressor that turns down draws more. Its word and its meter rise within
    one minute, and the meter is believed from its second reading: that minute is no pump."""
    night = night_of(POWER, RUNNING, SUPPLY, VALVE)
    power = lambda m: pump if m % 60 < 20 else STANDING  # noqa: E731
    runs = lambda m: m % 60 < 20  # noqa: E731
    night.play(180, mid=10.0, power=power, running=runs, supply=4.0, valve=0)
    night.play(200, mid=10.0, power=STANDING, running=0, supply=4.0, valve=1)
    assert (ALARM in night.alarms()) is told


def test_one_that_answered_every_valve_is_stopped_when_it_leaves_one_unanswered() -> None:
    """Its word alone; cold water in hand is no excuse. One that never did may rest on it."""
    for runs, told in ((valved, [250]), (lambda m: m % 20 >= 10, [])):
        night = night_of(RUNNING, SUPPLY, VALVE)
        night.play(240, mid=10.0, running=runs, supply=4.0, valve=valved)
        night.play(280, mid=10.0, running=0, supply=4.0, valve=1)
        assert night.raised(ALARM) == told


def test_one_that_never_rested_under_an_open_valve_is_stopped_when_it_does() -> None:
    """Where nothing says what it keeps; where its water is known, that decides."""
    bare = night_of(RUNNING, VALVE).play(90, mid=10.0, running=1, valve=1)
    assert bare.play(120, mid=10.0, running=0, valve=1).raised(ALARM) == [100]
    known = night_of(RUNNING, SUPPLY, VALVE).play(90, mid=10.0, running=1, valve=1, supply=4.0)
    known.play(120, mid=10.0, running=0, valve=1, supply=4.0)
    assert ALARM not in known.alarms()


def test_one_that_rests_at_nothing_rests_so_under_an_open_valve_too() -> None:
    night = night_of(POWER, SUPPLY, VALVE)
    night.play(300, mid=10.0, power=cycling(15, 45, low=0), supply=4.0, valve=1)  # type: ignore[arg-type]
    assert night.raised(ALARM) == [25], "only the first rest is strange"


def test_forty_readings_in_a_row_prove_that_it_never_draws_nothing() -> None:
    """Broken by one reading of nothing they prove it of none; once proven, one breaks nothing."""
    for draws, told in (((30, 2, 30), False), ((50, 2, 5), True)):
        night, minute = night_of(POWER, VALVE), 0
        for count, watts in zip(draws, (FULL, 0, FULL), strict=True):
            minute += count
            night.play(minute, mid=10.0, power=watts, valve=0)
        night.play(minute + 20, mid=10.0, power=0, valve=0)
        assert (ALARM in night.alarms()) is told
