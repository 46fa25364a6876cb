"""Where a product is going against its plan: on points laid by hand."""

from __future__ import annotations

import random

import pytest

from kuraban.core.forecast.drift import LEVEL_DOUBT, Point, drift_along, swing_of
from kuraban.core.units import HOUR, MINUTE

NOW = 1_000_000.0


def line(level: float, slope: float, hours: float = 3.0, noise: float = 0.0) -> list[Point]:
    """Ten-minute differences that reach `level` K now at `slope` K an hour."""
    rng = random.Random(1)
    steps = int(hours * 6)
    return [
        (NOW - n * 10 * MINUTE, level - slope * n / 6 + rng.gauss(0, noise))
        for n in range(steps, -1, -1)
    ]


def test_a_straight_drift_is_found_as_it_is() -> None:
    points = line(0.2, 0.1)
    swing = swing_of(points, NOW)
    assert swing is not None
    drift = drift_along(points, swing, "tank", NOW)
    assert drift is not None
    assert drift.slope == pytest.approx(0.1)
    assert drift.level == pytest.approx(0.2)


def test_the_hours_to_the_edge_hold_the_true_one_between_them() -> None:
    """0.3 K at 0.1 K an hour are three hours, earlier and later by what 0.05 K are worth."""
    points = line(0.2, 0.1)
    swing = swing_of(points, NOW)
    assert swing is not None
    drift = drift_along(points, swing, "tank", NOW)
    assert drift is not None
    hours = drift.hours_to(0.5)
    assert hours is not None
    assert hours == pytest.approx((3 - LEVEL_DOUBT / 0.1, 3 + LEVEL_DOUBT / 0.1))


def test_what_goes_the_other_way_never_gets_there() -> None:
    points = line(0.2, -0.1)
    swing = swing_of(points, NOW)
    assert swing is not None
    drift = drift_along(points, swing, "tank", NOW)
    assert drift is not None and drift.hours_to(0.5) is None


def test_noise_widens_the_interval_and_keeps_the_slope() -> None:
    quiet, loud = line(0.2, 0.1, noise=0.01), line(0.2, 0.1, noise=0.05)
    widths = []
    for points in (quiet, loud):
        swing = swing_of(points, NOW)
        assert swing is not None
        drift = drift_along(points, swing, "tank", NOW)
        assert drift is not None
        assert drift.low <= 0.1 <= drift.high
        widths.append(drift.high - drift.low)
    assert widths[0] < widths[1]


def test_too_thin_a_record_says_nothing() -> None:
    points = line(0.2, 0.1, hours=0.5)
    swing = swing_of(points, NOW)
    assert swing is not None
    assert drift_along(points, swing, "tank", NOW) is None


def test_a_record_that_broke_off_two_hours_ago_is_no_present() -> None:
    points = [(at - 3 * HOUR, value) for at, value in line(0.2, 0.1)]
    assert swing_of(points, NOW) is None


def test_the_swing_of_before_is_exceeded_only_beyond_it() -> None:
    points = [(at, 0.1) for at, _ in line(0.0, 0.0)]
    swing = swing_of(points, NOW)
    assert swing is not None and not swing.exceeded(True) and not swing.exceeded(False)
    higher = [*points[:-1], (NOW, 0.3)]
    swing = swing_of(higher, NOW)
    assert swing is not None and swing.exceeded(True) and not swing.exceeded(False)
