"""When a drift truly passed its limit, told from noisy sixteenths of a degree."""

from __future__ import annotations

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kuraban.core.forecast.threshold_crossing import HIDDEN, passed_at

MINUTES = range(90)


def drifting(rate: float, noise: float, seed: int = 0) -> tuple[list[float], list[float]]:
    """Ninety minutes that pass 0.5 K at minute 60, `rate` K an hour, in sixteenths."""
    rng = random.Random(seed)
    values = [0.5 + rate * (m - 60) / 60 + rng.gauss(0.0, noise) for m in MINUTES]
    return [60.0 * m for m in MINUTES], [round(16 * value) / 16 for value in values]


@pytest.mark.parametrize("rate", [0.08, 0.12, 0.17, 0.25])
def test_the_moment_is_told_to_some_minutes_although_single_readings_miss_it_by_half_an_hour(
    rate: float,
) -> None:
    missed = []
    for seed in range(50):
        times, apart = drifting(rate, 0.03, seed)
        passed = passed_at(times, apart, 0.5, noted=3600.0)
        assert passed is not None
        missed.append(abs(passed - 3600.0) / 60)
    assert sorted(missed)[45] <= 0.012 / rate * 60  # nine of ten within a hundredth of a degree


def test_a_clean_line_is_told_exactly() -> None:
    times = [60.0 * m for m in MINUTES]
    apart = [0.2 * at / 3600 for at in times]
    assert passed_at(times, apart, 0.2, noted=3700.0) == pytest.approx(3600.0)


def test_one_wild_value_moves_nothing() -> None:
    times = [60.0 * m for m in MINUTES]
    apart = [0.2 * at / 3600 for at in times]
    apart[40] = 80.0
    assert passed_at(times, apart, 0.2, noted=3700.0) == pytest.approx(3600.0, abs=60)


def test_what_does_not_rise_says_nothing() -> None:
    times = [60.0 * m for m in MINUTES]
    assert passed_at(times, [0.6] * 90, 0.5, noted=3600.0) is None
    assert passed_at(times, [0.6 - m / 100 for m in MINUTES], 0.5, noted=3600.0) is None


def test_a_few_readings_say_nothing() -> None:
    assert passed_at([0.0, 60.0, 120.0], [0.4, 0.5, 0.6], 0.5, noted=60.0) is None


def test_nothing_is_said_beyond_the_readings() -> None:
    times = [60.0 * m for m in MINUTES]
    assert passed_at(times, [0.2 * at / 3600 for at in times], 5.0, noted=5000.0) is None


@given(rate=st.floats(0.05, 3.0), noted=st.floats(0.0, 5340.0))
def test_it_is_never_earlier_than_noise_can_hide(rate: float, noted: float) -> None:
    times = [60.0 * m for m in MINUTES]
    apart = [rate * (at - 1800.0) / 3600 for at in times]
    passed = passed_at(times, apart, 0.0, noted)
    assert passed is not None
    assert passed >= noted - HIDDEN / rate * 3600 - 1


def test_twelve_readings_tell_the_moment_and_eleven_do_not() -> None:
    for count, told in ((12, True), (11, False)):
        times = [60.0 * m for m in range(count)]
        apart = [at / 3600 for at in times]
        assert (passed_at(times, apart, 0.05, noted=300.0) is not None) is told


def test_what_does_not_rise_passed_nothing() -> None:
    times = [60.0 * m for m in MINUTES]
    assert passed_at(times, [0.5] * 90, 0.5, noted=3600.0) is None
    assert passed_at(times, [-at / 3600 for at in times], -0.5, noted=3600.0) is None


def test_a_line_that_passed_before_or_after_the_record_is_not_told() -> None:
    times = [60.0 * m for m in MINUTES]
    apart = [0.2 * at / 3600 for at in times]
    for limit, told in ((-0.01, False), (0.001, True), (0.29, True), (0.31, False)):
        assert (passed_at(times, apart, limit, noted=0.0) is not None) is told


def test_one_wild_reading_in_each_group_moves_nothing() -> None:
    """The least and the greatest of seven neighbours are left out."""
    times = [60.0 * m for m in MINUTES]
    apart = [0.2 * at / 3600 for at in times]
    wild = [value + (9.0 if m % 15 == 3 else 0.0) for m, value in zip(MINUTES, apart, strict=True)]
    passed = passed_at(times, wild, 0.2, noted=3700.0)
    assert passed == pytest.approx(3600.0, abs=120)


def test_where_it_rises_steeply_the_first_reading_beyond_is_right() -> None:
    """0.05 K are a quarter of an hour at 0.2 K an hour, one minute at three."""
    times = [60.0 * m for m in MINUTES]
    for rate, hidden in ((0.2, 900.0), (3.0, 60.0)):
        apart = [rate * (at - 600.0) / 3600 for at in times]
        assert passed_at(times, apart, 0.0, noted=4800.0) == pytest.approx(4800.0 - hidden)


def test_of_five_neighbours_the_least_and_the_greatest_are_left_out_and_of_four_none() -> None:
    for count, passed in ((60, 1800.0), (48, None)):
        times = [60.0 * m for m in range(count)]
        apart = [0.5 * at / 3600 for at in times]
        wild = [value - 6.0 * (m >= count // 2 and m % 5 == 2) for m, value in enumerate(apart)]
        found = passed_at(times, wild, 0.25, noted=1830.0)
        assert found == (None if passed is None else pytest.approx(passed, abs=90))
