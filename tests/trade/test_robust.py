"""One bad reading changes nothing; every figure against a publication or another library."""

from __future__ import annotations

import math
import random

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from kuraban.errors import OutOfRange
from kuraban.trade import robust
from kuraban.trade.robust import (
    MAD_TO_SIGMA,
    autocorrelation,
    mad,
    mean,
    median,
    theil_sen,
    trimmed_mean,
)

# Analytical Methods Committee 1989, copper in flour, ppm (R MASS::chem; from memory)
COPPER = [2.9, 3.1, 3.4, 3.4, 3.7, 3.7, 2.8, 2.5, 2.4, 2.4, 2.7, 2.2]
COPPER += [5.28, 3.37, 3.03, 3.03, 28.95, 3.77, 3.4, 2.2, 3.5, 3.6, 3.7, 3.7]

# Sen 1968, J. Am. Stat. Assoc. 63:1379, example
SEN_T = [1, 2, 3, 4, 10, 12, 18]
SEN_Y = [9, 15, 19, 20, 45, 55, 78]

# a night's probe with a power-up code and a disconnected line in it (computed)
SPIKED = [20.0, 20.1, 20.0, 20.2, 20.1, 20.1, 85.0, 20.2, 20.1, 20.3]
SPIKED += [20.2, 20.2, 20.3, -127.0, 20.3, 20.4, 20.3, 20.4, 20.4, 20.5]

readings = st.floats(-40, 110)


def test_the_median_of_three_probes_ignores_the_one_pulled_out() -> None:
    """Odd and even counts."""
    assert median([8.1, 23.0, 8.3]) == 8.3
    assert median([8.1, 8.3]) == pytest.approx(8.2)
    with pytest.raises(OutOfRange):
        median([])


def test_the_mad_constant_is_the_inverse_quartile_of_the_bell_curve() -> None:
    """1 / Φ⁻¹(0.75)."""
    assert pytest.approx(1 / stats.norm.ppf(0.75), abs=5e-7) == MAD_TO_SIGMA


def test_mad_is_that_of_r() -> None:
    """R stats::mad examples: mad(1:9) = 2.9652, with or without the 100."""
    assert mad(range(1, 10)) == pytest.approx(2.9652, abs=1e-4)
    assert mad([1, 2, 3, 4, 5, 6, 7, 8, 100]) == pytest.approx(2.9652, abs=1e-4)


def test_copper_in_flour_has_the_published_middle_and_spread() -> None:
    """Analytical Methods Committee 1989, Analyst 114:1693 (from memory)."""
    assert np.mean(COPPER) == pytest.approx(4.2804, abs=5e-5)
    assert np.std(COPPER, ddof=1) == pytest.approx(5.2974, abs=5e-5)
    assert median(COPPER) == pytest.approx(3.385)
    assert mad(COPPER) == pytest.approx(0.526323, abs=1e-6)


def test_the_modified_z_flags_the_two_wild_copper_values() -> None:
    """Iglewicz and Hoaglin; NIST handbook 1.3.5.17: beyond 3.5 (computed 3.60 and 48.6)."""
    scores = [abs(x - median(COPPER)) / mad(COPPER) for x in COPPER]
    flagged = {x: round(z, 2) for x, z in zip(COPPER, scores, strict=True) if z > 3.5}
    assert flagged == {5.28: 3.6, 28.95: pytest.approx(48.6, abs=0.05)}


@pytest.mark.parametrize(
    ("n", "factor"),
    [(3, 0.672), (5, 0.822), (7, 0.879), (9, 0.907), (11, 0.926), (15, 0.947)],
)
def test_the_mad_of_few_readings_is_too_small_by_the_stated_factor(n: int, factor: float) -> None:
    """Computed by simulation; here 4,000 seeded samples, ±0.03."""
    noise = np.random.default_rng(n).normal(size=(4000, n)).tolist()
    assert sum(map(mad, noise)) / 4000 == pytest.approx(factor, abs=0.03)


@given(st.lists(readings, min_size=1, max_size=40))
def test_median_and_mad_are_those_of_scipy(values: list[float]) -> None:
    """scipy.stats.median_abs_deviation and numpy.median."""
    assert median(values) == pytest.approx(float(np.median(values)))
    bare = float(stats.median_abs_deviation(values))
    assert mad(values) == pytest.approx(MAD_TO_SIGMA * bare)


def test_sens_own_example() -> None:
    """Sen 1968: slope 4, 93 % interval 26/7 to 35/8, intercept 6. (The interval
    printed in the paper is wrong, as the author of R deming notes; this one is scipy's too.)"""
    line = theil_sen(SEN_T, SEN_Y, confidence=0.93)
    assert (line.slope, line.low, line.high) == pytest.approx((4, 26 / 7, 35 / 8))
    assert line.intercept == 6


def test_one_wild_reading_moves_sens_slope_by_a_hair() -> None:
    """y6 = 550: 4.059 where least squares says 14.00 (computed)."""
    wild = [9, 15, 19, 20, 45, 550, 78]
    assert theil_sen(SEN_T, wild).slope == pytest.approx(4.059, abs=5e-4)
    assert np.polyfit(SEN_T, wild, 1)[0] == pytest.approx(14.0, abs=5e-3)


def test_ties_in_x_are_left_out_of_the_pairs() -> None:
    """R statpsych ci.theil example: slope 0.5, 95 % interval 0.3243 to 0.75."""
    y = [21, 4, 9, 12, 35, 18, 10, 22, 24, 1, 6, 8, 13, 16, 19]
    x = [67, 28, 30, 28, 52, 40, 25, 37, 44, 10, 14, 20, 28, 40, 51]
    line = theil_sen(x, y)
    assert (line.slope, line.low, line.high) == pytest.approx((0.5, 0.3243, 0.75), abs=5e-5)


@given(st.integers(0, 10_000), st.integers(4, 40))
def test_slope_and_interval_are_those_of_scipy(seed: int, n: int) -> None:
    """scipy.stats.theilslopes, with ties in both axes."""
    draw = random.Random(seed)
    x = [draw.randint(0, n) for _ in range(n)]
    x[0] = n + 1
    y = [draw.randint(0, 20) / 2 for _ in range(n)]
    ours, theirs = theil_sen(x, y), stats.theilslopes(y, x, 0.95)
    assert ours.slope == pytest.approx(theirs[0])
    assert (ours.low, ours.high) == pytest.approx((theirs[2], theirs[3]))


def test_the_slope_holds_with_29_percent_of_the_readings_bad_and_fails_beyond() -> None:
    """Breakdown 1 - √½ = 29.3 % (Rousseeuw and Leroy 1987, from memory)."""
    x = list(range(100))
    spoil = [1000.0 * t if t >= 72 else 0.1 * t for t in x]
    assert theil_sen(x, spoil).slope == pytest.approx(0.1)
    worse = [1000.0 * t if t >= 70 else 0.1 * t for t in x]
    assert theil_sen(x, worse).slope > 100


def test_the_interval_of_a_steady_line_is_the_line() -> None:
    """No spread, no doubt, no division by zero."""
    line = theil_sen([0, 60, 120], [8.0, 8.1, 8.2])
    assert line.low == pytest.approx(line.high)


@given(st.floats(-1, 1), st.floats(-20, 20), st.integers(2, 50))
def test_the_slope_finds_an_exact_line(slope: float, start: float, n: int) -> None:
    """From two readings upwards."""
    x = [float(i) for i in range(n)]
    y = [start + slope * t for t in x]
    assert theil_sen(x, y).slope == pytest.approx(slope, abs=1e-9)


@given(st.floats(0.1, 10), st.floats(-50, 50), st.floats(-2, 2))
def test_a_slope_scales_with_its_units_and_adds_a_trend(a: float, b: float, c: float) -> None:
    """Equivariance: y -> a·y + b + c·t gives a·slope + c (Rousseeuw and Leroy 1987)."""
    moved = [a * y + b + c * t for t, y in zip(SEN_T, SEN_Y, strict=True)]
    assert theil_sen(SEN_T, moved).slope == pytest.approx(4 * a + c, abs=1e-6)


def test_a_slope_refuses_one_moment_and_unequal_lengths() -> None:
    """Each with its own reason."""
    with pytest.raises(OutOfRange, match="two different"):
        theil_sen([3, 3], [1, 2])
    with pytest.raises(OutOfRange, match="equally many"):
        theil_sen([1, 2, 3], [1, 2])


@pytest.mark.parametrize("phi", [0.0, 0.5, 0.9])
def test_autocorrelation_finds_the_coefficient_it_was_made_with(phi: float) -> None:
    """The mean of 60 seeded series of 200 readings, ±0.03 (bias of Kendall 1954 taken away)."""
    rng = np.random.default_rng(11)
    found = []
    for _ in range(60):
        series = [rng.normal()]
        for noise in rng.normal(size=199):
            series.append(phi * series[-1] + math.sqrt(1 - phi * phi) * noise)
        found.append(autocorrelation(series))
    assert np.mean(found) == pytest.approx(phi, abs=0.03)


def test_ties_take_from_the_variance_of_kendalls_s() -> None:
    """By hand: 5 values 5 * 4 * 15 = 300, a pair 2 * 9, a triple 6 * 11; (300 - 84) / 18."""
    assert robust._kendall_variance([1, 2, 3, 4, 5], [1, 1, 2, 2, 2]) == pytest.approx(12, rel=1e-9)


def test_a_short_series_is_corrected_as_kendall_has_it() -> None:
    """One and seven noughts by hand: r = -1/56, and (8 r + 1) / 5 = 6/35 (Kendall 1954)."""
    assert autocorrelation([1.0] + [0.0] * 7) == pytest.approx(6 / 35)


def test_a_coefficient_stays_within_what_a_series_can_have() -> None:
    """A long straight climb, and a value that turns at every reading: 0.99 either way, no more."""
    assert autocorrelation(list(range(2000))) == 0.99
    assert autocorrelation([(-1.0) ** i for i in range(200)]) == -0.99


def test_a_stuck_probe_has_no_autocorrelation_to_speak_of() -> None:
    """Zero, not a division by zero."""
    assert autocorrelation([8.0625] * 20) == 0.0
    assert autocorrelation([0.1 + 0.2] * 9) == 0.0


@given(st.lists(readings, min_size=1, max_size=12))
def test_a_trimmed_mean_leaves_out_the_least_and_the_greatest_of_five_or_more(
    values: list[float],
) -> None:
    """Against SciPy; of fewer it is the plain mean."""
    cut = 1 / len(values) if len(values) >= 5 else 0.0
    assert trimmed_mean(values) == pytest.approx(stats.trim_mean(values, cut + 1e-9), abs=1e-9)
    assert mean(values) == pytest.approx(np.mean(values), abs=1e-9)
