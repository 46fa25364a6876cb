"""It runs, yet no heat moves: by its water, by its return, by what it keeps, by its tanks."""

from __future__ import annotations

import msgspec
import pytest

from kuraban.core.detectors.not_cooling import NotCooling
from kuraban.core.forecast.drift import Drift, Swing
from kuraban.core.site import Cooler, Place, Probe
from kuraban.core.units import HOUR
from tests.core.detectors.kit import (
    AIR,
    CELLAR,
    MID,
    TANK,
    Night,
    course,
    house,
    koji,
    noisy,
    ramp,
    saw,
    stage,
    step,
)
from tests.core.equipment.test_cooler_view import CHILLER, POWER, RUNNING, SUPPLY, VALVE, night_of

ALARM = "chiller/not-cooling"
RETURN = Probe(id="back", of="chiller", measures="return")


def test_half_an_hour_of_running_and_its_water_comes_no_nearer_to_its_band() -> None:
    """Refrigerant lost: it runs and runs, its supply at 9 °C."""
    night = night_of(RUNNING, SUPPLY, VALVE).play(
        120, mid=noisy(10.1), running=step(0, 1, 60), supply=9.0, valve=1
    )
    (raised,) = night.raised(ALARM)
    assert 90 <= raised <= 94
    assert night.evidence(ALARM) == ("supply=9.0",)
    assert {message.role for message in night.messages()} == {"maintenance"}


def test_one_that_pulls_its_water_down_is_only_late() -> None:
    """Warm after a long rest, a third of a degree nearer every half hour at least."""
    night = night_of(RUNNING, SUPPLY, VALVE).play(
        240, mid=noisy(10.1), running=step(0, 1, 60), supply=ramp(10.0, -1.0, since=60), valve=1
    )
    assert ALARM not in night.alarms()


def test_one_that_stands_at_the_edge_of_its_band_under_a_heavy_load_works_hard() -> None:
    night = night_of(RUNNING, SUPPLY, VALVE).play(
        240, mid=noisy(10.1), running=1, supply=6.4, valve=1
    )
    assert ALARM not in night.alarms()


def test_short_runs_prove_nothing() -> None:
    night = night_of(RUNNING, SUPPLY, VALVE).play(
        400, mid=noisy(10.1), running=lambda m: m % 25 < 20, supply=9.0, valve=1
    )
    assert ALARM not in night.alarms()


def test_supply_and_return_alike_under_an_open_valve_move_no_heat() -> None:
    """The pump is dead or the valve of the line shut: both read the same."""
    night = night_of(RUNNING, SUPPLY, RETURN, VALVE).play(
        120, mid=noisy(10.1), running=1, supply=6.3, back=6.4, valve=1
    )
    assert night.raised(ALARM)
    assert night.evidence(ALARM) == ("supply=6.3", "return=6.4")


def test_what_stood_in_the_pipes_says_nothing_until_it_has_flowed() -> None:
    """Its pump runs all night behind shut valves, supply and return as warm as the cellar: for
    two minutes after a valve opens they are alike, and then the water comes cold."""
    opens = step(0, 1, 120)
    supply, back = (lambda m, cold=cold: 8.2 if m < 122 else cold for cold in (2.5, 5.0))
    night = night_of(RUNNING, SUPPLY, RETURN, VALVE).play(
        200, mid=noisy(10.0), running=1, supply=supply, back=back, valve=opens
    )
    assert ALARM not in night.alarms()


@pytest.mark.parametrize(("rises", "told"), [(0.0, []), (1.0, [278])])
def test_one_never_seen_to_turn_may_just_be_turning(rises: float, told: list[int]) -> None:
    """It started twice at 4.5 degrees; the third load takes its water to 5.3 while it runs. Level
    there it turns; what goes on by a degree an hour is beyond where it ever was."""
    night = night_of(RUNNING, SUPPLY, VALVE)
    for start in (60, 150):
        night.play(
            start, mid=noisy(10.0), running=0, supply=ramp(2.5, 2.0, since=start - 60), valve=1
        )
        night.play(start + 30, mid=noisy(10.0), running=1, supply=4.4, valve=1)
    night.play(226, mid=noisy(10.0), running=0, supply=4.4, valve=1)
    night.play(290, mid=noisy(10.0), running=1, supply=ramp(5.3, rises, since=226), valve=1)
    assert night.raised(ALARM) == told


def test_a_return_two_degrees_warmer_is_heat_that_moves() -> None:
    night = night_of(RUNNING, SUPPLY, RETURN, VALVE).play(
        120, mid=noisy(10.1), running=1, supply=6.3, back=8.5, valve=1
    )
    assert ALARM not in night.alarms()


def test_it_is_over_a_quarter_of_an_hour_after_it_cools_again() -> None:
    night = night_of(RUNNING, SUPPLY, VALVE).play(60, mid=10.1, running=1, supply=9.0, valve=1)
    assert night.stands(ALARM)
    night.play(120, mid=10.1, running=1, supply=4.0, valve=1)
    (over,) = night.over(ALARM)
    assert 75 <= over <= 82


def test_without_a_probe_in_its_water_the_tank_that_it_should_cool_tells() -> None:
    """It draws full power for half an hour and the tank that needs it warms by 0.3 K."""
    night = night_of(POWER, VALVE).play(
        180, mid=noisy(ramp(10.2, 1.0, since=60)), power=step(41, 1150, 60), valve=1
    )
    (raised,) = night.raised(ALARM)
    assert 90 <= raised <= 110
    assert night.evidence(ALARM) == ("served_rising",)


def test_a_heater_that_runs_and_does_not_heat_is_told_as_that() -> None:
    heater = Cooler(id="heater", kind="heater", name="Heater", rated_watts=2000, band=(28, 40))
    bed = Place(id="tank", kind="koji-bed", name="Koji bed 1", heater="heater")
    warm = course(koji(38.0), course_id="koji", never=(20, 46), whither="koji-bed")
    draws = Probe(id="draws", of="heater", measures="power")
    blows = Probe(id="blows", of="heater", measures="air")
    night = Night(house(bed, heater, MID, draws, blows, courses=(warm,)))
    night.batch("tank", "koji")
    night.play(90, mid=noisy(38.0), draws=1800, blows=ramp(24.0, -2.0))
    assert "heater/not-heating" in night.alarms()
    assert "heater/not-cooling" not in night.alarms()


# ------------------------------------------------------------------------------- against its habit


def sawing(minute: float) -> float:
    """Up from 2 to 4 degrees in an hour of rest, down in half an hour of running."""
    turn = minute % 90
    return 2.0 + 2.0 * turn / 60 if turn < 60 else 4.0 - 2.0 * (turn - 60) / 30


def sawn() -> Night:
    night = night_of(RUNNING, SUPPLY, VALVE)
    return night.play(360, mid=noisy(10.0), running=lambda m: m % 90 >= 60, supply=sawing, valve=1)


def test_it_runs_and_its_water_leaves_its_own_saw_long_before_its_band() -> None:
    """Refrigerant lost: at 4.5 degrees it always turned; its band ends at 6."""
    night = sawn().play(600, mid=noisy(10.0), running=1, supply=ramp(2.0, 1.5, since=360), valve=1)
    (raised,) = night.raised(ALARM)
    left = 360 + 60 * 2.5 / 1.5
    assert left <= raised <= left + 20
    assert night.evidence(ALARM)[0] == "beyond_habit"


def test_a_load_of_warm_rice_takes_its_water_beyond_its_saw() -> None:
    night = sawn()
    night.log("tank", "addition", what="rice")
    night.play(480, mid=noisy(10.0), running=1, supply=ramp(2.0, 1.8, since=360), valve=1)
    night.play(600, mid=noisy(10.0), running=1, supply=ramp(5.6, -1.8, since=480), valve=1)
    assert ALARM not in night.alarms()


def test_an_open_door_or_a_washing_is_coming_nearer_before_it_is_told() -> None:
    """Three degrees up within ten minutes, and down again within the hour."""
    store = Cooler(id="chiller", kind="cold-room", name="Unit 1", rated_watts=1500, band=(2, 9))
    night = night_of(RUNNING, msgspec.structs.replace(SUPPLY, measures="air"), cooler=store)
    night.play(360, mid=noisy(10.0), running=lambda m: m % 90 >= 60, supply=sawing)
    door = lambda m: 4.0 + 3.0 * min((m - 360) / 10, 1) - max(m - 372, 0) * 3.0 / 60  # noqa: E731
    night.play(440, mid=noisy(10.0), running=1, supply=door)
    assert ALARM not in night.alarms()


def test_a_thaw_is_no_failure_though_its_heater_draws_like_a_compressor() -> None:
    """Half an hour of its heater, four degrees up: its meter alone cannot tell it from a run."""
    store = Cooler(id="chiller", kind="cold-room", name="Unit 1", rated_watts=1500, band=(2, 9))
    night = night_of(POWER, msgspec.structs.replace(SUPPLY, measures="air"), cooler=store)
    draws = lambda m: 1150.0 if m % 90 >= 60 else 41.0  # noqa: E731
    night.play(360, mid=noisy(10.0), power=draws, supply=sawing)
    thaw = lambda m: 4.0 + 4.0 * min((m - 360) / 30, 1) - max(m - 390, 0) * 5.0 / 60  # noqa: E731
    night.play(440, mid=noisy(10.0), power=1300, supply=thaw)
    assert ALARM not in night.alarms()


def test_water_that_stands_in_its_pipe_is_not_what_it_keeps() -> None:
    """Its compressor cools the buffer; every valve is shut, and the pipe warms to 9 degrees."""
    night = sawn().play(600, mid=noisy(10.0), running=1, supply=ramp(4.0, 3.0, since=360), valve=0)
    assert ALARM not in night.alarms()


def test_one_of_two_tanks_that_warms_alone_has_troubles_of_its_own() -> None:
    """A bank of ice without a probe in its water runs; a hand valve is shut at one tank."""
    places = [msgspec.structs.replace(TANK, id=f"tank-{n}", cooler="chiller") for n in range(2)]
    probes = [msgspec.structs.replace(MID, id=f"p{n}", of=f"tank-{n}") for n in range(2)]
    night = Night(house(CELLAR, CHILLER, POWER, *places, *probes, courses=(course(stage()),)))
    for n in range(2):
        night.batch(f"tank-{n}")
    night.play(240, p0=noisy(ramp(10.2, 1.0, since=60)), p1=noisy(10.0), power=1150)
    assert ALARM not in night.alarms()


# ----------------------------------------------------------- a chiller without any probe of its own

BARE = msgspec.structs.replace(CHILLER, band=None, rated_watts=None)


def tanks(count: int = 4) -> Night:
    places = [msgspec.structs.replace(TANK, id=f"tank-{n}", cooler="chiller") for n in range(count)]
    probes = [msgspec.structs.replace(MID, id=f"p{n}", of=f"tank-{n}") for n in range(count)]
    night = Night(house(CELLAR, AIR, BARE, *places, *probes, courses=(course(stage()),)))
    for n in range(count):
        night.batch(f"tank-{n}")
    return night


def warming(rates: tuple[float, ...], since: float) -> dict[str, object]:
    return {
        f"p{n}": noisy(
            lambda m, n=n, rate=rate: (
                saw(10.0, 0.2, 60, 17 * n)(min(m, since)) + rate * max(m - since, 0) / 60
            ),
            seed=n + 1,
        )
        for n, rate in enumerate(rates)
    }


def test_its_tanks_turning_up_together_tell_before_any_passes_its_limit() -> None:
    """Four mashes at 0.07 to 0.14 K an hour from the moment it died; limit 1.0 K."""
    night = tanks().play(900, air=9.0, **warming((0.1, 0.07, 0.14, 0.12), 300))  # type: ignore[arg-type]
    (raised,) = night.raised(ALARM)
    assert 300 + 90 <= raised <= 300 + 300
    assert night.evidence(ALARM) == ("served_rising",)


def test_one_tank_that_runs_away_is_that_tanks_own() -> None:
    night = tanks().play(700, air=9.0, **warming((0.2, 0.0, 0.0, 0.0), 300))  # type: ignore[arg-type]
    assert ALARM not in night.alarms()


def test_one_tank_that_still_falls_is_cooled() -> None:
    """Three rise, one is plainly being cooled: the chiller works."""
    night = tanks().play(700, air=9.0, **warming((0.1, 0.12, 0.1, -0.15), 300))  # type: ignore[arg-type]
    assert ALARM not in night.alarms()


def test_slow_mashes_are_told_by_what_they_have_in_common() -> None:
    """0.04 K an hour is too slow for a vote, but four together beyond their saw-teeth are not."""
    night = tanks().play(1000, air=9.0, **warming((0.04, 0.04, 0.045, 0.04), 300))  # type: ignore[arg-type]
    (raised,) = night.raised(ALARM)
    assert 300 + 120 <= raised <= 300 + 480


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_saw_teeth_that_happen_to_rise_together_are_none(seed: int) -> None:
    traces = {f"p{n}": noisy(saw(10.0, 0.4, 150, 3 * n * seed), seed=n + seed) for n in range(4)}
    night = tanks().play(24 * 60, air=9.0, **traces)
    assert ALARM not in night.alarms()


def test_it_ends_when_its_tanks_come_back() -> None:
    night = tanks().play(640, air=9.0, **warming((0.1, 0.08, 0.14, 0.12), 300))  # type: ignore[arg-type]
    assert night.stands(ALARM)
    back = {f"p{n}": noisy(ramp(10.5, -0.3, since=640), seed=n) for n in range(4)}
    night.play(1000, air=9.0, **back)
    assert night.over(ALARM)


def test_while_it_stands_a_trend_of_its_tanks_is_held_back_and_a_true_exit_is_not() -> None:
    night = tanks().play(1200, air=9.0, **warming((0.1, 0.08, 0.14, 0.12), 300))  # type: ignore[arg-type]
    assert "tank-2/warm" in night.alarms()
    assert not any("trending" in alarm for page in night.messages() if page.step == "page"
                   for alarm in page.alarms)  # fmt: skip


def test_it_is_told_with_what_its_water_reads() -> None:
    """Out of its band by more than half a degree for half an hour, and no nearer."""
    for supply, told in ((6.4, False), (6.6, True)):
        night = night_of(SUPPLY, RUNNING).play(120, mid=10.0, supply=supply, running=1)
        assert night.raised("chiller/not-cooling") == ([32.0] if told else [])
        if told:
            assert night.evidence("chiller/not-cooling") == (f"supply={supply}",)


# -------------------------------------------------------------------------------- what it answers


def test_what_it_answers_by_its_band_from_rest_to_return() -> None:
    """Its water at 9 °C, three degrees beyond its band; it starts to run at 60."""
    night = night_of(RUNNING, SUPPLY, VALVE)
    assert night.why(ALARM) == ["lacks: together value=0 edge=3 unit="]
    night.play(60, mid=10.1, running=0, supply=9.0, valve=1)
    assert night.why(ALARM) == ["lacks: not-running"]
    night.play(70, mid=10.1, running=1, supply=9.0, valve=1)
    assert night.why(ALARM)[1] == "lacks: ran-too-short lasted=8 wanted=30"
    night.play(95, mid=10.1, running=1, supply=9.0, valve=1)
    told = ["stands", "seen: evidence value=9 word=supply", "ends: over-nearer wanted=15"]
    assert night.why(ALARM) == told
    assert night.raised(ALARM) == [92]
    alarm = night.engine.alarm_manager.alarm("chiller", "not-cooling")
    assert (alarm.value, alarm.since) == (9.0, night.start + 62 * 60)
    night.play(120, mid=10.1, running=1, supply=4.0, valve=1)
    assert night.over(ALARM) == [112]
    night.log("tank", "batch-end")
    assert night.why(ALARM) == []


def test_what_it_answers_by_its_habit() -> None:
    """It always turned below 4.4 °C; beyond that from 462 on, and for a quarter of an hour."""
    night = sawn()
    warms = ramp(2.0, 1.5, since=360)
    night.play(380, mid=10.0, running=1, supply=warms, valve=1)
    assert night.why(ALARM) == ["lacks: in-habit value=2.4 edge=4.422"]
    night.play(474, mid=10.0, running=1, supply=warms, valve=1)
    assert night.why(ALARM) == [
        "lacks: runs-out until=477 lasted=12 wanted=15",
        "delay: since=462 how=seen spent=12 wanted=15 due=477",
    ]
    night.play(490, mid=10.0, running=1, supply=warms, valve=1)
    assert night.why(ALARM)[1:] == [
        "seen: evidence word=beyond_habit", "seen: evidence value=5.1 word=supply",
        "ends: over-nearer wanted=15",
    ]  # fmt: skip
    assert night.raised(ALARM) == [478]
    night.play(530, mid=10.0, running=1, supply=4.0, valve=1)
    assert night.over(ALARM) == [508]


@pytest.mark.parametrize(("falls", "told"), [(-0.5, True), (-1.0, False)])
def test_beyond_its_habit_and_coming_nearer_it_answers_so(falls: float, told: bool) -> None:
    """Six degrees at once, and down from there: 0.15 K within a quarter of an hour are enough."""
    comes = lambda m: 2.0 if m < 362 else 6.0 + falls * (m - 362) / 60  # noqa: E731
    night = sawn().play(382, mid=10.0, running=1, supply=comes, valve=1)
    assert told or night.why(ALARM) == ["lacks: comes-nearer value=5.733"]
    night.play(400, mid=10.0, running=1, supply=comes, valve=1)
    assert (ALARM in night.alarms()) is told


def test_a_load_answers_so_until_two_hours_after_its_mask() -> None:
    night = sawn()
    night.log("tank", "addition", what="rice")
    (mask,) = night.view.entry_log.of("tank").masks
    ends = (mask.end - night.start) / 60 + 120
    night.play(480, mid=10.0, running=1, supply=ramp(2.0, 1.8, since=360), valve=1)
    assert night.why(ALARM) == ["lacks: load"]
    night.play(ends + 20, mid=10.0, running=1, supply=ramp(5.6, 0.1, since=480), valve=1)
    (raised,) = night.raised(ALARM)
    assert ends <= raised <= ends + 2 and "beyond_habit" in night.evidence(ALARM)


def test_what_it_answers_of_its_return_and_of_its_tanks() -> None:
    alike = night_of(RUNNING, SUPPLY, RETURN, VALVE)
    alike.play(60, mid=10.1, running=1, supply=6.3, back=6.4, valve=1)
    assert alike.raised(ALARM) == [32]
    assert alike.why(ALARM)[1:3] == [
        "seen: evidence value=6.3 word=supply", "seen: evidence value=6.4 word=return",
    ]  # fmt: skip
    together = tanks().play(640, air=9.0, **warming((0.1, 0.07, 0.14, 0.12), 300))  # type: ignore[arg-type]
    assert together.why(ALARM) == ["stands", "ends: over-nearer wanted=15"]
    assert together.raised(ALARM) == [420]


@pytest.mark.parametrize(("supply", "back", "valve", "told"), [
    (6.3, 6.59, 1, True), (6.3, 6.61, 1, False), (6.3, 6.01, 1, True), (6.3, 5.99, 1, False),
    (6.3, 6.3, 0, False), (5.9, 5.9, 1, False),
])  # fmt: skip
def test_three_tenths_between_supply_and_return_move_heat(
    supply: float, back: float, valve: float, told: bool
) -> None:
    """And nothing is told of it while no valve is open or its water is cold."""
    night = night_of(RUNNING, SUPPLY, RETURN, VALVE)
    night.play(60, mid=10.0, running=1, supply=supply, back=back, valve=valve)
    assert (ALARM in night.alarms()) is told


@pytest.mark.parametrize(("falls", "told"), [(-0.5, True), (-0.8, False)])
def test_a_third_of_a_degree_in_half_an_hour_is_nearer(falls: float, told: bool) -> None:
    night = night_of(RUNNING, SUPPLY, VALVE).play(30, mid=10.1, running=0, supply=9.0, valve=1)
    night.play(68, mid=10.1, running=1, supply=ramp(9.0, falls, since=30), valve=1)
    assert (ALARM in night.alarms()) is told


@pytest.mark.parametrize(("rate", "told"), [(0.9, True), (0.6, False), (-0.9, False)])
def test_a_tank_that_needs_it_and_warms_by_three_tenths_tells(rate: float, told: bool) -> None:
    night = night_of(POWER, VALVE).play(60, mid=10.3, power=41, valve=1)
    night.play(94, mid=ramp(10.3, rate, since=60), power=1150, valve=1)
    assert (ALARM in night.alarms()) is told


@pytest.mark.parametrize(("blows", "told"), [(27.4, True), (27.6, False)])
def test_a_heater_half_a_degree_below_its_band_does_not_heat(blows: float, told: bool) -> None:
    heater = Cooler(id="heater", kind="heater", name="Heater", rated_watts=2000, band=(28, 40))
    bed = Place(id="tank", kind="koji-bed", name="Koji bed 1", heater="heater")
    warm = course(koji(38.0), course_id="koji", never=(20, 46), whither="koji-bed")
    draws = Probe(id="draws", of="heater", measures="power")
    air = Probe(id="blows", of="heater", measures="air")
    night = Night(house(bed, heater, MID, draws, air, courses=(warm,)))
    night.batch("tank", "koji")
    night.play(60, mid=38.0, draws=1800, blows=blows)
    assert ("heater/not-heating" in night.alarms()) is told
    assert night.why("heater/not-heating")[0] == (
        "stands" if told else "lacks: in-habit value=27.6"
    )


def test_a_stage_that_settles_is_a_load() -> None:
    """Nobody knows yet where what was poured in comes to rest."""
    for settle, told in ((24 * 3600.0, False), (0.0, True)):
        tank = msgspec.structs.replace(TANK, cooler="chiller")
        shape = course(stage(settle=settle))
        night = Night(house(tank, CELLAR, MID, CHILLER, RUNNING, SUPPLY, VALVE, courses=(shape,)))
        night.batch(since=0)
        night.play(360, mid=10.0, running=lambda m: m % 90 >= 60, supply=sawing, valve=1)
        night.play(500, mid=10.0, running=1, supply=ramp(2.0, 1.5, since=360), valve=1)
        assert (ALARM in night.alarms()) is told
        assert told or night.why(ALARM) == ["lacks: load"]


def test_while_its_own_water_is_cold_its_tanks_say_nothing_of_it() -> None:
    """Four mashes warm, nobody knows whether it runs; 4 °C stand in its pipe, then nothing does."""
    places = [msgspec.structs.replace(TANK, id=f"tank-{n}", cooler="chiller") for n in range(4)]
    probes = [msgspec.structs.replace(MID, id=f"p{n}", of=f"tank-{n}") for n in range(4)]
    home = house(CELLAR, AIR, CHILLER, SUPPLY, *places, *probes, courses=(course(stage()),))
    night = Night(home)
    for n in range(4):
        night.batch(f"tank-{n}")
    traces = warming((0.1, 0.07, 0.14, 0.12), 300)
    night.play(700, air=9.0, supply=4.0, **traces)  # type: ignore[arg-type]
    assert ALARM not in night.alarms()


SWING = Swing(now=0.25, least=-0.1, most=0.1, seen=2 * HOUR)
TURNS = Drift(level=0.11, slope=0.05, low=0.025, high=0.1, swing=SWING)


@pytest.mark.parametrize(
    ("drift", "turns"),
    [
        (TURNS, True),
        (TURNS._replace(slope=0.049), False),
        (TURNS._replace(low=0.024), False),
        (TURNS._replace(level=0.1), False),
        (TURNS._replace(swing=SWING._replace(seen=2 * HOUR - 1)), False),
        (TURNS._replace(swing=SWING._replace(now=0.13)), False),
    ],
)
def test_a_tank_turns_up_beyond_its_saw_tooth_by_a_tenth_at_a_twentieth_an_hour(
    drift: Drift, turns: bool
) -> None:
    """By half of that at the slow end; what a heater keeps turns down so."""
    heater = msgspec.structs.replace(CHILLER, kind="heater")
    low = Drift(-drift.level, -drift.slope, -drift.high, -drift.low,
                Swing(-drift.swing.now, -0.1, 0.1, drift.swing.seen))  # fmt: skip
    for cooler, way in ((CHILLER, drift), (heater, low)):
        night = Night(house(TANK, CELLAR, cooler, MID, AIR))
        detector = night.engine.registry.one(NotCooling, "chiller")
        assert isinstance(detector, NotCooling) and detector._turns(way) is turns
