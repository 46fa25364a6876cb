"""A slot of a probe keeps how many readings it had, their extremes, mean and last, and when."""

from __future__ import annotations

import math
from collections import defaultdict

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kuraban.store.upkeep.summary import (
    MINUTES,
    TENS,
    Point,
    Reading,
    coarser,
    joined,
    pack,
    shown,
    slot_of,
    span_of,
    summed,
    unpack,
)

START = 1_769_904_000
"""A whole ten hours; so it is the beginning of a span of either grain."""

values = st.floats(-40, 2000, allow_nan=False) | st.sampled_from([10.0625, 10.125, 0.0, 1.0])
ten_hours = st.lists(
    st.tuples(st.integers(0, 36_000_000 - 1), values), min_size=1, unique_by=lambda one: one[0]
).map(lambda found: [(START + moment / 1000, value) for moment, value in found])


def model(readings: list[Reading], grain: int) -> dict[int, list[Reading]]:
    """The readings of each slot, in the order of their times."""
    slots: dict[int, list[Reading]] = defaultdict(list)
    for at, value in sorted(readings):
        slots[int((at - START) // grain)].append((at, value))
    return slots


def agrees(point: Point, readings: list[Reading], start: int = START) -> None:
    told = [value for _, value in readings]
    assert point.readings == len(told)
    assert (point.least, point.greatest, point.last) == (min(told), max(told), told[-1])
    assert math.isclose(point.mean, math.fsum(told) / len(told), rel_tol=1e-12, abs_tol=1e-9)
    assert point.least <= point.mean <= point.greatest
    for moment, when in (
        (point.least_at, next(at for at, value in readings if value == point.least)),
        (point.greatest_at, next(at for at, value in readings if value == point.greatest)),
        (point.last_at, readings[-1][0]),
    ):
        assert abs(start + moment / 1000 - when) < 0.0015


def minutes(readings: list[Reading]) -> dict[int, list[Point]]:
    """The summaries of minutes, an hour each, as the journal makes them."""
    hours: dict[int, list[Reading]] = defaultdict(list)
    for at, value in readings:
        hours[span_of(at, MINUTES)].append((at, value))
    return {start: summed(found, start, MINUTES) for start, found in hours.items()}


@given(ten_hours)
def test_minutes_tell_what_a_plain_count_tells(readings: list[Reading]) -> None:
    """Count, extremes and last are exact, times to a millisecond, the mean to rounding."""
    found = {
        (start - START) // 60 + point.slot: (point, start)
        for start, points in minutes(readings).items()
        for point in points
    }
    slots = model(readings, MINUTES)
    assert found.keys() == slots.keys()
    for number, (point, start) in found.items():
        agrees(point, slots[number], start)


@given(ten_hours)
def test_a_summary_of_summaries_is_that_of_the_readings(readings: list[Reading]) -> None:
    """Ten minutes made of minutes lose nothing that ten minutes made of readings have."""
    found = coarser(minutes(readings).items(), START)
    slots = model(readings, TENS)
    assert [point.slot for point in found] == sorted(slots)
    for point in found:
        agrees(point, slots[point.slot])


@given(ten_hours, st.integers(0, 100))
def test_it_matters_not_in_how_many_steps(readings: list[Reading], cut: int) -> None:
    """What came late is joined with what was there."""
    at = len(readings) * cut // 100
    parts = (summed(readings[:at], START, TENS), summed(readings[at:], START, TENS))
    found = joined([*parts[0], *parts[1]])
    slots = model(readings, TENS)
    assert [point.slot for point in found] == sorted(slots)
    for point in found:
        agrees(point, slots[point.slot])


@given(ten_hours)
def test_what_is_packed_comes_back(readings: list[Reading]) -> None:
    """To the last bit."""
    points = summed(readings, START, TENS)
    assert unpack(pack(points)) == points


def test_what_was_packed_before_columns_were_told_by_steps_is_read() -> None:
    readings = [(START + 60 * k + 7.25, value) for k, value in enumerate((10.31, 10.25, 10.0625))]
    before = bytes.fromhex(
        "789c63606462626060608462f9d6d7813be6a93830804003945680d20c6a18e2130e7dd588f157255a7d900c03"
        "c326364606a18f8c0c2ae5d8d900698e1468"
    )
    points = summed([*readings, (START + 30.5, 11.0)], START, MINUTES)
    assert unpack(before) == points


def test_an_hour_of_minutes_takes_a_hundred_and_some_bytes() -> None:
    readings = [(START + 60 * k + 7.25, 10 + k * 7 % 31 / 100) for k in range(60)]
    assert len(pack(summed(readings, START, MINUTES))) < 150


@given(ten_hours)
def test_a_curve_shows_every_extreme(readings: list[Reading]) -> None:
    """In the order of time, at most three values of a slot, none that was not read."""
    points = summed(readings, START, TENS)
    told = list(shown(START, points))
    assert told == sorted(told) and len(told) <= 3 * len(points)
    assert {value for _, value in told} <= {value for _, value in readings}
    slots = model(readings, TENS)
    for number, held in slots.items():
        seen = [value for at, value in told if slot_of(at, START, TENS) == number]
        assert min(seen) == min(v for _, v in held) and max(seen) == max(v for _, v in held)


def test_a_single_reading_is_shown_once() -> None:
    assert list(shown(START, summed([(START + 30.5, 10.3)], START, MINUTES))) == [
        (START + 30.5, 10.3)
    ]


def test_of_equal_extremes_the_first_is_kept() -> None:
    """When it was first so cold."""
    (point,) = summed([(START + at, 10.0) for at in (30.0, 20.0, 40.0)], START, MINUTES)
    assert (point.least_at, point.greatest_at, point.last_at) == (20_000, 20_000, 40_000)


@pytest.mark.parametrize(
    "blob", [b"", b"no points", b"\x01no points", pack(summed([(START, 1.0)], START, 60))[:-3]]
)
def test_damaged_bytes_are_told(blob: bytes) -> None:
    with pytest.raises(ValueError, match="no summary of readings"):
        unpack(blob)
