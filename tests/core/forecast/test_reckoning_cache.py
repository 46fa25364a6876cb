"""What was reckoned once is not reckoned again, unless the past or the plan has changed."""

from __future__ import annotations

import pytest

from kuraban.core.forecast.reckoning_cache import LEAST_IN_STEP, LONGEST_WINDOW, Track
from kuraban.core.plan.subject_state import Batch
from kuraban.core.probes.probe_state import Series
from kuraban.core.units import HOUR, MINUTE
from tests.core.house import DUSK, mashing

STEP = 10 * MINUTE
BEGIN = DUSK // STEP * STEP


def batch() -> Batch:
    found = mashing().engine.view.batch("tank-3", DUSK)
    assert found is not None
    return found


def record(minutes: int, value: float = 10.4) -> Series:
    series = Series()
    for minute in range(minutes):
        series.add(BEGIN + minute * MINUTE, value)
    return series


def test_each_closed_step_is_its_middle_and_how_far_it_was_from_the_plan() -> None:
    track = Track(STEP)
    track.catch_up(record(35), batch(), BEGIN, BEGIN + 35 * MINUTE)
    assert [at - BEGIN for at, _ in track.since(BEGIN)] == [5 * MINUTE, 15 * MINUTE, 25 * MINUTE]
    assert [apart for _, apart in track.since(BEGIN)] == pytest.approx([0.4] * 3)


def test_a_step_with_one_reading_tells_nothing() -> None:
    series, track = record(10), Track(STEP)
    series.add(BEGIN + 15 * MINUTE, 10.4)
    track.catch_up(series, batch(), BEGIN, BEGIN + 20 * MINUTE + 1)
    assert len(track.times) == 1 and LEAST_IN_STEP == 2


def test_a_step_is_reckoned_once() -> None:
    """A reading that comes after its step was closed changes it no more."""
    runs, series, track = batch(), record(10), Track(STEP)
    track.catch_up(series, runs, BEGIN, BEGIN + 10 * MINUTE)
    series.add(BEGIN + 9.9 * MINUTE, 12.0)
    track.catch_up(series, runs, BEGIN, BEGIN + 11 * MINUTE)
    assert list(track.apart) == pytest.approx([0.4])


def test_a_reading_out_of_its_order_makes_all_be_reckoned_anew() -> None:
    runs, series, track = batch(), record(20), Track(STEP)
    track.catch_up(series, runs, BEGIN, BEGIN + 20 * MINUTE)
    series.add(BEGIN + 30.0, 10.4)
    series.values[:] = type(series.values)("d", [11.0] * len(series.values))
    track.catch_up(series, runs, BEGIN, BEGIN + 20 * MINUTE)
    assert list(track.apart) == pytest.approx([1.0, 1.0])


def test_another_plan_makes_all_be_reckoned_anew() -> None:
    first, second, series, track = batch(), batch(), record(20), Track(STEP)
    track.catch_up(series, first, BEGIN, BEGIN + 20 * MINUTE)
    track.catch_up(series, second, BEGIN + 10 * MINUTE, BEGIN + 20 * MINUTE)
    assert len(track.times) == 1 and track.plan is second.plan


def test_what_is_older_than_the_longest_window_is_forgotten() -> None:
    track = Track(STEP)
    track.catch_up(record(600), batch(), BEGIN, BEGIN + 600 * MINUTE)
    assert track.times[0] >= BEGIN + 600 * MINUTE - LONGEST_WINDOW > BEGIN + HOUR
