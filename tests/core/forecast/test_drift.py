"""Where a product is going against its plan: on points laid by hand."""

from __future__ import annotations

import math
import random
from itertools import pairwise

import msgspec
import pytest

from kuraban.core.forecast.drift import (
    LEVEL_DOUBT,
    Drift,
    Point,
    Swing,
    drift_along,
    drift_of,
    points_of,
    swing_of,
    undisturbed_since,
)
from kuraban.core.planned_curve import FAR_FUTURE
from kuraban.core.site import PlaceKind
from kuraban.core.units import HOUR, MINUTE
from tests.core.detectors.kit import CELLAR, MID, TANK, Night, course, house, ramp

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


def laid(points: list[Point], kind: str = "tank") -> Drift | None:
    swing = swing_of(points, NOW)
    assert swing is not None
    return drift_along(points, swing, kind, NOW)


def every(minutes: float, hours: float, slope: float = 0.1) -> list[Point]:
    """A straight drift that a point shows every so many minutes."""
    steps = round(hours * 60 / minutes)
    return [(NOW - n * minutes * MINUTE, -slope * n * minutes / 60) for n in range(steps, -1, -1)]


@pytest.mark.parametrize(
    ("kind", "enough", "too_few"),
    [("tank", 1.8, 1.6), ("starter", 1.2, 1.0), ("koji-bed", 0.6, 0.5)],
)
def test_three_fifths_of_its_window_tell_how_a_product_drifts(
    kind: str, enough: float, too_few: float
) -> None:
    """Of three hours in a mash, of two in a starter, of one in koji."""
    assert laid(every(2, enough), kind) is not None
    assert laid(every(2, too_few), kind) is None


def test_five_points_tell_a_drift_and_four_do_not() -> None:
    assert laid(every(45, 3.0)) is not None
    assert laid(every(60, 3.0)) is None


@pytest.mark.parametrize(("kind", "hours"), [("tank", 3.0), ("starter", 2.0), ("koji-bed", 1.0)])
def test_what_lies_before_its_window_is_no_part_of_a_drift(kind: str, hours: float) -> None:
    """It stood still until then, and drifts since."""
    since = [point for point in every(2, 8.0) if point[0] >= NOW - hours * HOUR]
    still = [(at, since[0][1]) for at, _ in every(2, 8.0) if at < since[0][0]]
    drift = laid(still + since, kind)
    assert drift is not None and drift.slope == pytest.approx(0.1)
    assert drift.low == pytest.approx(0.1) and drift.high == pytest.approx(0.1)


def test_a_saw_tooth_is_looked_at_over_whole_turns() -> None:
    """Turns of two and a half hours, and no drift in them: two turns show it, three hours not."""
    points = [(NOW - n * 10 * MINUTE, 0.2 * (1 if n % 15 < 8 else -1)) for n in range(60, -1, -1)]
    drift = laid(points)
    assert drift is not None and drift.low <= 0 <= drift.high
    assert abs(drift.slope) < 0.02


def test_a_mash_that_swings_in_four_hours_does_not_drift_where_a_store_would() -> None:
    """The last three hours alone climb for sure; only a jacket's valve turns a mash so."""
    points = [(NOW - n * 10 * MINUTE, 0.2 * math.sin(math.tau * (1.5 - n / 6) / 4))
              for n in range(60, -1, -1)]  # fmt: skip
    mash, store = laid(points), laid(points, "cold-store")
    assert mash is not None and mash.low < 0 < mash.high
    assert store is not None and store.low > 0


def test_the_level_is_where_the_line_stands_now() -> None:
    """One wild step at the end does not move it; three do."""
    points = every(10, 3.0)
    one = laid([*points[:-1], (NOW, 2.0)])
    three = laid([*points[:-3], *((at, value + 0.3) for at, value in points[-3:])])
    assert one is not None and one.level == pytest.approx(0.0, abs=0.02)
    assert three is not None and three.level == pytest.approx(0.3, abs=0.05)


def test_a_line_without_noise_is_sure_of_itself() -> None:
    drift = laid(every(10, 3.0))
    assert drift is not None
    assert (drift.low, drift.slope, drift.high) == pytest.approx((0.1, 0.1, 0.1))


def drifts(level: float, low: float, slope: float, high: float) -> Drift:
    return Drift(level, slope, low, high, Swing(level, 0.0, 0.0, 0.0))


def test_hours_to_an_edge_go_by_the_fastest_and_the_slowest_pace() -> None:
    """A twentieth of a degree earlier and later. Where it may as well stand still, no latest."""
    assert drifts(0.2, 0.05, 0.1, 0.2).hours_to(0.5) == pytest.approx((1.25, 7.0))
    assert drifts(-0.2, -0.2, -0.1, -0.05).hours_to(-0.5) == pytest.approx((1.25, 7.0))
    sure = drifts(0.2, -0.05, 0.1, 0.2).hours_to(0.5)
    assert sure is not None and sure[1] > 1e6
    assert drifts(0.2, -0.2, -0.1, -0.05).hours_to(0.5) is None
    assert drifts(0.2, 0.05, 0.1, 0.2).hours_to(-0.5) is None
    assert drifts(0.5, 0.05, 0.1, 0.2).hours_to(0.5) == (0.0, 0.0)
    assert drifts(0.48, 0.05, 0.1, 0.2).hours_to(0.5) == pytest.approx((0.0, 1.4))
    assert drifts(0.2, -0.2, -0.1, 0.0).hours_to(0.5) is None


def test_a_swing_is_of_the_time_until_an_hour_ago() -> None:
    """What came in the last hour is the present, to be held against it."""
    points = [(NOW - 3 * HOUR, -0.1), (NOW - 2 * HOUR, 0.2), (NOW - HOUR, 0.9), (NOW, 0.4)]
    assert swing_of(points, NOW) == Swing(0.4, -0.1, 0.2, 2 * HOUR)
    assert swing_of(points[2:], NOW) == Swing(0.4, 0.9, 0.9, 0.0)
    assert swing_of([], NOW) is None


def test_a_record_of_two_hours_ago_still_is_the_present() -> None:
    assert swing_of([(NOW - 2 * HOUR, 0.1)], NOW) is not None
    assert swing_of([(NOW - 2 * HOUR - 1, 0.1)], NOW) is None


def test_three_hundredths_beyond_its_swing_are_within_it() -> None:
    swing = Swing(0.0, -0.1, 0.1, HOUR)
    for now, up, down in ((0.12, False, False), (0.14, True, False), (-0.14, False, True)):
        moved = swing._replace(now=now)
        assert (moved.exceeded(True), moved.exceeded(False)) == (up, down)


# --------------------------------------------------------------------------- in a house at night


def lived(minutes: float = 240, rate: float = 0.1, kind: PlaceKind = "tank") -> Night:
    """A place that leaves its plan by so much an hour from the start."""
    place = msgspec.structs.replace(TANK, kind=kind)
    night = Night(house(place, CELLAR, MID, courses=(course(whither=kind),)))
    night.batch()
    return night.play(minutes, mid=ramp(10.0, rate))


def points_now(night: Night) -> list[tuple[float, float]]:
    """Minute and K above the plan."""
    batch, now = night.view.batch("tank", night.engine.now), night.engine.now
    return [((at - night.start) / 60, value) for at, value in
            points_of(night.view, "tank", batch, now)]  # fmt: skip


@pytest.mark.parametrize(("kind", "step"), [("tank", 10), ("starter", 5), ("koji-bed", 3)])
def test_a_record_is_read_in_steps_of_its_kind(kind: PlaceKind, step: float) -> None:
    """Ten minutes of a mash, five of a starter, three of koji; the last is still open."""
    found = points_now(lived(30 + 0.5 * step + 1, kind=kind))
    assert found[0] == pytest.approx((step / 2, 0.1 * step / 2 / 60), abs=0.01)
    minutes = [minute for minute, _ in found]
    assert [b - a for a, b in pairwise(minutes[:3])] == pytest.approx([step] * 2)
    assert minutes[-1] > 30


def test_what_is_left_over_after_the_last_step_is_the_present_and_needs_two_readings() -> None:
    for minutes, present in ((31, False), (32, True)):
        found = points_now(lived(minutes))
        assert (found[-1][0] > 29) is present
    night = lived(36)
    batch, now = night.view.batch("tank", night.engine.now), night.engine.now
    assert batch is not None
    assert points_of(night.view, "tank", batch, now) == points_of(night.view, "tank", batch, now)


def test_the_drift_of_a_place_is_that_of_its_points() -> None:
    night = lived(240)
    batch, now = night.view.batch("tank", night.engine.now), night.engine.now
    assert batch is not None
    found = drift_of(night.view, "tank", batch, now)
    assert found is not None
    assert found.slope == pytest.approx(0.1, abs=1e-3)
    assert found.level == pytest.approx(0.4, abs=0.01)
    assert found.swing.seen == pytest.approx((240 - 60 - 5) * 60, abs=60)


def test_a_stir_is_the_begin_of_what_is_looked_at() -> None:
    """Stirred at 60: from the end of its mask on, and not from one that is still under way."""
    night = lived(60)
    night.log("tank", "stir")
    (mask,) = night.view.entry_log.of("tank").masks
    ends = (mask.end - night.start) / 60
    night.play(ends - 1, mid=ramp(10.0, 0.1))
    assert undisturbed_since(night.view, "tank", night.engine.now) == 0.0
    assert points_now(night)[0][0] == pytest.approx(5)
    night.play(ends + 25, mid=ramp(10.0, 0.1))
    assert undisturbed_since(night.view, "tank", night.engine.now) == mask.end
    assert points_now(night)[0][0] == pytest.approx(ends + 5)


def test_its_own_noise_widens_a_drift_by_as_much_as_neighbours_are_alike() -> None:
    """Figures of one record: a line, a slow wave on it, and a noise that forgets at once."""
    slow = [(at, value + 0.02 * math.sin(n / 2)) for n, (at, value) in enumerate(every(10, 3.0))]
    quick = line(0.2, 0.1, noise=0.02)
    few = [(at, value + 0.02 * (-1) ** n) for n, (at, value) in enumerate(every(36, 3.0))]
    found = []
    for points in (slow, quick, few):
        drift = laid(points)
        assert drift is not None
        found.append((drift.low, drift.slope, drift.high, drift.level))
    assert found == [
        pytest.approx(figures, abs=1e-4)
        for figures in (
            (0.0622, 0.1013, 0.1281, 0.0162),
            (0.0893, 0.1016, 0.1136, 0.2069),
            (-0.0155, 0.1, 0.1385, -0.02),
        )
    ]


def test_three_hundredths_beyond_its_swing_are_noise() -> None:
    for beyond, exceeded in ((0.13, False), (0.131, True)):
        swing = Swing(beyond, 0.0, 0.1, HOUR)
        assert swing.exceeded(True) is exceeded and not swing.exceeded(False)
        swing = Swing(-beyond, -0.1, 0.0, HOUR)
        assert swing.exceeded(False) is exceeded and not swing.exceeded(True)


def test_what_may_stand_still_at_its_slow_end_may_never_get_there() -> None:
    drift = Drift(0.0, 0.1, 0.0, 0.2, Swing(0.0, 0.0, 0.0, HOUR))
    assert drift.hours_to(0.5) == (pytest.approx(0.45 / 0.2), FAR_FUTURE)


def test_what_stands_still_is_known_to_stand_still() -> None:
    drift = laid(line(0.0, 0.0))
    assert drift is not None and (drift.low, drift.slope, drift.high) == (0.0, 0.0, 0.0)
