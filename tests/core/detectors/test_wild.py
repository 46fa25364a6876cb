"""Error codes and jumps that nothing real makes: dropped, counted, and judged past them."""

from __future__ import annotations

import random

import pytest

from tests.core.detectors.kit import Night, Trace, cellar, noisy, ramp, step

AIR = 6.0
ALARM = "mid/wild"
PRODUCT = {"tank/warm", "tank/cold", "tank/far-warm", "tank/far-cold", "mid/displaced"}


def tank() -> Night:
    night = Night(cellar())
    night.batch()
    return night


def throwing(trace: Trace, share: float, codes: tuple[float, ...], seed: int = 4) -> Trace:
    """True values with bus codes among them."""
    lot, true = random.Random(seed), noisy(trace)
    return lambda minute: lot.choice(codes) if lot.random() < share else true(minute)


@pytest.mark.parametrize("code", [-127, 127.9375, 127.94, 85.0, 0.0])
def test_a_bus_code_is_dropped_counted_and_told_when_five_came_within_half_an_hour(
    code: float,
) -> None:
    night = tank().play(60, mid=noisy(10.0), air=AIR)
    night.play(180, mid=lambda m: code if m % 5 == 0 else 10.0, air=AIR)
    assert night.raised(ALARM) == [60 + 4 * 5]
    assert night.alarms() == {ALARM}
    assert all(refusal.wild for refusal in night.refused)
    assert code not in {reading.value for reading in night.readings}


def test_a_jump_there_and_back_within_one_reading_is_counted_too() -> None:
    """No code, but ten degrees for one minute: nothing real does that."""
    night = tank().play(120, mid=lambda m: 20.0 if m % 6 == 3 else 10.0, air=AIR)
    assert night.alarms() == {ALARM}


def test_a_few_are_nobodys_business() -> None:
    night = tank().play(300, mid=lambda m: -127 if m % 30 == 0 else 10.0, air=AIR)
    assert not night.alarms()
    assert len(night.refused) == 10


def test_a_true_drift_among_codes_is_told_at_its_time() -> None:
    """One reading in seven is a code; the drift of 0.1 K an hour leaves after five hours."""
    night = tank().play(60, mid=noisy(10.0), air=AIR)
    drift = throwing(ramp(10.0, 0.1, since=60), 0.15, (-127, 85.0, 0.0, 127.9375))
    night.play(540, mid=drift, air=AIR)
    (raised,) = night.raised("tank/warm")
    assert 360 + 60 - 10 <= raised <= 360 + 60 + 25
    assert PRODUCT & night.alarms() == {"tank/warm"}


def test_a_probe_that_is_mostly_wrong_is_no_measure() -> None:
    """More than half of ten minutes bad: its product keeps the last state."""
    night = tank().play(60, mid=noisy(10.0), air=AIR)
    night.play(100, mid=lambda m: 10.7 if m % 4 == 0 else -127, air=AIR)
    assert night.view.product("tank", night.engine.now) is None
    assert not PRODUCT & night.alarms()


def test_when_the_codes_cease_it_is_believed_and_the_alarm_ends_with_the_last_of_them() -> None:
    night = tank().play(60, mid=noisy(10.0), air=AIR)
    night.play(100, mid=lambda m: 10.0 if m % 4 == 0 else -127, air=AIR)
    night.play(140, mid=noisy(10.0), air=AIR)
    assert night.view.product("tank", night.engine.now) is not None
    (over,) = night.over(ALARM)
    assert 99 + 30 <= over <= 99 + 32


def test_a_tank_truly_at_nothing_is_believed() -> None:
    """Ice water comes down to 0.0 step by step: no jump, no code."""
    night = tank().play(300, mid=lambda m: max(10.0 - m * 0.05, 0.0), air=AIR)
    assert not [refusal for refusal in night.refused if refusal.wild]


def test_a_dead_line_from_the_start_is_no_product_of_nothing() -> None:
    night = tank().play(60, mid=0.0, air=AIR)
    assert not PRODUCT & night.alarms()
    assert night.view.product("tank", night.engine.now) is None


def test_a_probe_of_no_batch_may_throw_what_it_likes() -> None:
    night = Night(cellar()).play(120, mid=-127, air=AIR)
    assert not night.alarms()


def test_a_step_of_the_true_product_is_no_jump_back() -> None:
    night = tank().play(300, mid=noisy(step(10.0, 16.0, 100)), air=AIR)
    assert ALARM not in night.alarms()


def test_what_it_answers_counts_the_jumps_of_the_half_hour() -> None:
    night = tank().play(60, mid=10.0, air=AIR)
    assert night.why(ALARM) == ["lacks: jumps value=0 edge=5 unit="]
    code = lambda m: -127.0 if m % 5 == 0 else 10.0  # noqa: E731
    night.play(80, mid=code, air=AIR)
    assert night.why(ALARM) == ["lacks: jumps value=4 edge=5 unit="]
    night.play(81, mid=code, air=AIR)
    five = ["stands", "seen: jumps value=5 edge=5 unit=", "ends: over-jumps wanted=30"]
    assert night.why(ALARM) == five
    assert night.evidence(ALARM) == ("jumps=5",)
    alarm = night.engine.alarm_manager.alarm("mid", "wild")
    assert alarm.since == night.start + 60 * 60
    night.play(120, mid=10.0, air=AIR)
    assert night.over(ALARM) == [80 + 30]
    night.log("tank", "batch-end")
    assert night.why(ALARM) == []


@pytest.mark.parametrize(("bad", "told"), [(2, False), (3, True)])
def test_three_of_the_last_ten_minutes_and_more_than_the_good_ones_are_mostly_wrong(
    bad: int, told: bool
) -> None:
    """A probe of five minutes: it speaks twice or three times in ten."""
    night = tank().play(60, mid=10.0, air=AIR)
    night.play(70, air=AIR)
    night.play(70 + bad, mid=-127.0, air=AIR)
    assert night.stands(ALARM) is told
    assert ("wild" in night.view.probe_states["mid"].suspect) is told
    seen = "seen" if told else "lacks"
    assert f"{seen}: jumps value={bad} edge=5 unit=" in night.why(ALARM)


def test_as_many_good_as_bad_ones_are_not_mostly_wrong() -> None:
    night = tank().play(60, mid=10.0, air=AIR).play(70, air=AIR)
    night.play(73, mid=10.0, air=AIR).play(76, mid=-127.0, air=AIR)
    assert not night.stands(ALARM)
    assert night.play(77, mid=-127.0, air=AIR).stands(ALARM)


def test_what_was_bad_ten_minutes_ago_is_none_of_the_last_ten() -> None:
    """And without a batch nothing is held against a probe."""
    night = tank().play(60, mid=10.0, air=AIR).play(70, air=AIR).play(73, mid=-127.0, air=AIR)
    assert night.play(79, air=AIR).view.probe_states["mid"].suspect >= {"wild"}
    assert "wild" not in night.play(80, air=AIR).view.probe_states["mid"].suspect
    assert night.play(83, mid=-127.0, air=AIR).view.probe_states["mid"].suspect
    night.log("tank", "batch-end")
    assert not night.view.probe_states["mid"].suspect
