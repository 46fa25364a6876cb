"""One value for far longer than the probe's own noise ever left it unmoved."""

from __future__ import annotations

import msgspec
import pytest

from kuraban.core.site import Place, Probe
from tests.core.detectors.kit import AIR as AIR_PROBE
from tests.core.detectors.kit import (
    CELLAR,
    KOJI_COURSE,
    MID,
    TANK,
    Night,
    Trace,
    cellar,
    course,
    house,
    noisy,
    saw,
    stage,
    step,
)

AIR = 6.0
ALARM = "mid/stuck"


def tank() -> Night:
    night = Night(cellar())
    night.batch()
    return night


def test_a_restless_probe_that_freezes_is_told_within_an_hour() -> None:
    """It changed every other minute for two hours; half an hour on one value is not like it."""
    night = tank().play(120, mid=noisy(10.0, 0.05), air=AIR).play(400, mid=10.0625, air=AIR)
    (raised,) = night.raised(ALARM)
    assert 120 + 30 - 5 <= raised <= 120 + 60


def test_a_noisy_loop_of_wire_that_speaks_every_ten_minutes_is_told_within_an_hour_too() -> None:
    """No two of its readings were ever alike, so that six are out of all proportion."""
    slow = msgspec.structs.replace(MID, every=600.0)
    night = Night(house(TANK, CELLAR, slow, AIR_PROBE, courses=(course(),)))
    night.batch()
    night.play(600, mid=lambda m: 10.0 + (m // 10 * 7 % 11) / 100, air=AIR)
    night.play(800, mid=10.03, air=AIR)
    (raised,) = night.raised(ALARM)
    assert raised <= 600 + 62


def flickers(last: int) -> Trace:
    """Between two steps every four minutes, the last time at that minute of the night."""
    return lambda m: 10.0 + (min(m, last) // 4 % 2) / 16


@pytest.mark.parametrize(("moves", "hours"), [(14, 3), (15, 2), (29, 2)])
def test_a_probe_whose_pace_is_hardly_known_is_told_after_two_to_three_hours(
    moves: int, hours: int
) -> None:
    last = 4 * moves
    night = tank().play(400, mid=flickers(last), air=AIR)
    (raised,) = night.raised(ALARM)
    assert last + 60 * hours <= raised <= last + 60 * hours + 12


def test_a_digital_probe_is_known_after_thirty_moves() -> None:
    """It flickered for two hours within one step: so long it may rest, and no longer."""
    night = tank().play(400, mid=flickers(4 * 30), air=AIR)
    (raised,) = night.raised(ALARM)
    assert 120 + 120 <= raised <= 120 + 120 + 12


def test_a_calm_mash_rests_as_long_as_it_flickered_between_two_values() -> None:
    """It slid by a step every twelve minutes, then flickered for an hour and a half, and rests."""

    def slid(m: float) -> float:
        return 10.0 - (m // 12) / 16 if m < 300 else 8.4375 - (min(m, 390) // 3 % 2) / 16

    night = tank().play(390 + 89, mid=slid, air=AIR)
    assert ALARM not in night.alarms()
    night.play(390 + 120, mid=slid, air=AIR)
    (raised,) = night.raised(ALARM)
    assert 390 + 88 <= raised <= 390 + 102


def test_a_saw_that_never_stayed_within_a_step_is_told_within_the_hour() -> None:
    """A step every five minutes, up and down: its flickering never lasted."""
    night = tank().play(480, mid=noisy(saw(10.0, 0.6, 80), 0.01), air=AIR)
    night.play(600, mid=10.0625, air=AIR)
    (raised,) = night.raised(ALARM)
    assert 480 + 25 <= raised <= 480 + 60


def test_a_probe_that_speaks_on_change_is_judged_by_its_changes_not_by_its_heartbeat() -> None:
    """It moved every three minutes by some steps; its heartbeat comes every 20."""
    on_change = msgspec.structs.replace(MID, every=1200.0)
    night = Night(house(TANK, CELLAR, on_change, AIR_PROBE, courses=(course(),)))
    night.batch()
    while night.minute < 400:
        if night.minute % 3 == 0 and night.minute <= 240:
            night.hear("mid", round(10.0 + (night.minute // 3 * 7 % 11) / 10, 1))
        elif night.minute > 240 and night.minute % 20 == 0:
            night.hear("mid", 11.0)
        night.minute += 1
        night.engine.wake(night.start + 60 * night.minute)
        doubted = night.view.probe_states["mid"].suspect
        assert not doubted or night.minute >= 260, "silence until its heartbeat is no rest"
    night.listen()
    (raised,) = night.raised(ALARM)
    assert 300 <= raised <= 302, "with the heartbeat that shows it"


def test_a_value_that_stands_still_while_the_plan_goes_on_makes_no_cold_tank() -> None:
    """Frozen at 10 degrees; the plan rises by 0.8 K an hour. It is doubted before it is told."""
    rising = stage(rate=0.8)
    night = Night(cellar(stages=(rising,)))
    night.batch(since=0)
    follow = noisy(lambda m: 10.0 + 0.8 * m / 60, 0.05)
    night.play(120, mid=follow, air=AIR).play(400, mid=11.625, air=AIR)
    assert night.raised(ALARM)[0] <= 180
    assert not night.alarms() & {"tank/cold", "tank/far-cold", "tank/overcooling"}


def test_a_quantised_probe_in_a_quiet_tank_may_rest_for_an_hour_and_more() -> None:
    """Its noise is a third of its step: long rests are what it is like."""
    night = tank().play(24 * 60, mid=noisy(saw(10.0, 0.2, 240), 0.02), air=AIR)
    assert ALARM not in night.alarms()


def test_a_frozen_probe_whose_board_lags_behind_is_told_all_the_same() -> None:
    """Each reading is nine minutes old when it comes, older than the look before it."""
    night, value = tank(), noisy(10.0, 0.05)
    while night.minute < 240:
        said = value(night.minute) if night.minute < 120 else 10.0625
        stamp = night.moment(night.minute - 9)
        night.send("reading/mid", f'{{"value": {said}, "at": "{stamp}"}}')
        night.minute += 1
        night.engine.wake(night.start + 60 * night.minute)
    night.listen()
    (raised,) = night.raised(ALARM)
    assert 120 + 30 - 5 <= raised <= 120 + 60


def test_a_flat_probe_that_never_moved_is_not_stuck() -> None:
    """It has shown no noise of its own, and nothing is said of it."""
    night = tank().play(24 * 60, mid=10.0, air=AIR)
    assert not night.alarms()


def test_four_times_its_longest_rest_while_its_pace_is_not_known() -> None:
    """It moved every hour and ten minutes: three hours are not enough, four hours and more are."""
    night = tank().play(14 * 70, mid=lambda m: 10.0 + (m // 70 % 2) / 16, air=AIR)
    begin = night.minute
    night.play(begin + 205, mid=10.0625, air=AIR)
    assert not night.alarms()
    night.play(begin + 225, mid=10.0625, air=AIR)
    (raised,) = night.raised(ALARM)
    assert begin - 70 + 4 * 70 <= raised <= begin - 70 + 4 * 70 + 12


def test_a_stuck_probe_is_no_measure_and_the_product_keeps_its_state() -> None:
    """Stuck at a value that would be warm: an alarm neither comes nor goes by it."""
    night = tank().play(120, mid=noisy(10.0, 0.05), air=AIR).play(330, mid=10.0625, air=AIR)
    assert night.stands(ALARM)
    assert night.view.product("tank", night.engine.now) is None


def test_when_it_moves_again_it_is_believed_again() -> None:
    night = tank().play(120, mid=noisy(10.0, 0.05), air=AIR).play(330, mid=10.0625, air=AIR)
    night.play(360, mid=noisy(10.0, 0.05), air=AIR)
    assert night.over(ALARM)
    assert night.view.product("tank", night.engine.now) is not None


def test_koji_is_told_within_the_hour() -> None:
    bed = Place(id="bed", kind="koji-bed", name="Koji bed 1")
    inside = msgspec.structs.replace(MID, of="bed")
    night = Night(house(bed, inside, courses=(KOJI_COURSE,)))
    night.batch("bed", "koji")
    night.play(60, mid=noisy(36.0, 0.08)).play(180, mid=36.0625)
    (raised,) = night.raised(ALARM)
    assert 60 + 30 - 5 <= raised <= 60 + 60


def test_a_stuck_probe_that_falls_silent_is_silent() -> None:
    night = tank().play(120, mid=noisy(10.0, 0.05), air=AIR).play(330, mid=10.0625, air=AIR)
    night.play(360, air=AIR)
    assert not night.stands(ALARM)
    assert night.stands("mid/silent")


def test_a_contact_may_rest_for_ever() -> None:
    night = Night(cellar(Probe(id="valve", of="tank", measures="valve")))
    night.batch()
    night.play(60, mid=noisy(10.0), air=AIR, valve=lambda m: m % 2)
    night.play(600, mid=noisy(10.0), air=AIR, valve=0)
    assert "valve/stuck" not in night.alarms()


@pytest.mark.parametrize("at", [130, 200])
def test_a_gap_in_the_readings_is_no_rest(at: float) -> None:
    night = tank().play(at, mid=noisy(10.0, 0.05), air=AIR).play(at + 200, air=AIR)
    night.play(at + 260, mid=noisy(step(10.0, 10.0, 0), 0.05), air=AIR)
    assert ALARM not in night.alarms()


def test_what_it_answers_of_its_rests() -> None:
    """Restless for two hours, frozen at 120, and moving again from 540 on."""
    night = tank()
    assert night.why(ALARM) == ["seen: rest-usual lasted=0 wanted=0", "lacks: no-value"]
    night.play(8, mid=noisy(10.0, 0.05), air=AIR)
    assert night.why(ALARM)[1].startswith("lacks: moves-few") and "edge=10" in night.why(ALARM)[1]
    night.play(120, mid=noisy(10.0, 0.05), air=AIR).play(150, mid=10.0625, air=AIR)
    usual = "seen: rest-usual lasted=1.392 wanted=2.955"
    assert night.why(ALARM) == [usual, "lacks: still-for value=10.06 lasted=30 wanted=30"]
    night.play(300, mid=10.0625, air=AIR)
    told = ["stands", "seen: still-for value=10.06 lasted=171 wanted=30", usual, "ends: over-moves"]
    assert night.raised(ALARM) == [151] and night.why(ALARM)[1:2] == told[1:2]
    assert night.why(ALARM)[0] == "stands" and night.why(ALARM)[2:] == told[2:]
    alarm = night.engine.alarm_manager.alarm("mid", "stuck")
    assert (alarm.value, alarm.since) == (10.0625, night.start + 120 * 60)
    night.play(330, air=AIR)
    assert "lacks: no-value since=299" in night.why(ALARM)
    night.log("tank", "batch-end")
    assert night.why(ALARM) == []
