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
from kuraban.trade.robust import (
    MAD_TO_SIGMA,
    RunningMedian,
    autocorrelation,
    effective_count,
    hampel,
    mad,
    mann_kendall,
    median,
    theil_sen,
    weighted_median,
    wide_pair_slope,
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
    """R stats::mad examples: mad(1:9) = 2.9652 and, bare, 2 with or without the 100."""
    assert mad(range(1, 10)) == pytest.approx(2.9652, abs=1e-4)
    assert mad(range(1, 10), constant=1) == 2
    assert mad([1, 2, 3, 4, 5, 6, 7, 8, 100], constant=1) == 2


def test_copper_in_flour_has_the_published_middle_and_spread() -> None:
    """Analytical Methods Committee 1989, Analyst 114:1693 (from memory)."""
    assert np.mean(COPPER) == pytest.approx(4.2804, abs=5e-5)
    assert np.std(COPPER, ddof=1) == pytest.approx(5.2974, abs=5e-5)
    assert median(COPPER) == pytest.approx(3.385)
    assert mad(COPPER) == pytest.approx(0.526323, abs=1e-6)


def test_the_modified_z_flags_the_two_wild_copper_values() -> None:
    """Iglewicz and Hoaglin; NIST handbook 1.3.5.17: beyond 3.5 (computed 3.60 and 48.6)."""
    scores = [0.6745 * abs(x - median(COPPER)) / mad(COPPER, constant=1) for x in COPPER]
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
    assert mad(values, constant=1) == pytest.approx(float(stats.median_abs_deviation(values)))


def test_hampel_takes_out_the_two_code_words_and_nothing_else() -> None:
    """Window of 7, three spreads (computed)."""
    cleaned = hampel(SPIKED, 3, 3.0)
    assert cleaned.replaced == (6, 13)
    assert (cleaned.values[6], cleaned.values[13]) == (20.2, 20.3)
    kept = [i for i in range(len(SPIKED)) if i not in cleaned.replaced]
    assert [cleaned.values[i] for i in kept] == [SPIKED[i] for i in kept]


def test_hampel_at_zero_spreads_is_a_median_filter_that_leaves_the_ends() -> None:
    """The convention of R pracma::hampel, after Pearson 1999."""
    cleaned = hampel([5.0, 1.0, 9.0, 2.0, 8.0, 3.0], 1, 0.0)
    assert cleaned.values == (5.0, 5.0, 2.0, 8.0, 3.0, 3.0)


def test_a_standing_probe_flags_its_own_last_bit_unless_the_floor_is_one_step() -> None:
    """A DS18B20 moves in sixteenths; a MAD of zero believes in none of them."""
    flat = [20.0] * 6 + [20.0625] + [20.0] * 6
    assert hampel(flat, 3).replaced == (6,)
    assert hampel(flat, 3, floor=0.0625).replaced == ()


@pytest.mark.parametrize(("k", "share"), [(3, 0.048), (5, 0.029), (7, 0.020)])
def test_hampel_flags_noise_far_oftener_than_three_sigma_would(k: int, share: float) -> None:
    """Computed: 4.8, 2.9 and 2.0 %, not 0.27 %; here 8,000 seeded readings, ±0.8 points. The
    filter of a live probe, which sees the past only, flags as often at the same width."""
    noise = np.random.default_rng(k).normal(size=8000).tolist()
    assert len(hampel(noise, k).replaced) / 8000 == pytest.approx(share, abs=0.008)
    live = RunningMedian(2 * k + 1)
    assert sum(live.take(x).outlier for x in noise) / 8000 == pytest.approx(share, abs=0.008)


def test_a_live_probe_never_shows_a_burst_shorter_than_half_its_window() -> None:
    """Three bad readings in a window of seven."""
    live = RunningMedian(7, floor=0.0625)
    shown = [live.take(x) for x in [10.0] * 7 + [85.0] * 3 + [10.0] * 7]
    assert {one.median for one in shown} == {10.0}
    assert [i for i, one in enumerate(shown) if one.outlier] == [7, 8, 9]


def test_a_true_step_comes_through_after_half_a_window() -> None:
    """(n + 1) / 2 readings: stirring up a cold layer is news, not noise."""
    live = RunningMedian(7, floor=0.0625)
    medians = [live.take(x).median for x in [10.0] * 7 + [8.0] * 7]
    assert medians.index(8.0) - 7 == 3  # the fourth reading of the new level


def test_on_a_climb_the_live_median_lags_by_half_a_window() -> None:
    """(n - 1) / 2 readings behind."""
    live = RunningMedian(11)
    assert [live.take(0.1 * i).median for i in range(30)][29] == pytest.approx(0.1 * (29 - 5))


@given(st.lists(readings, min_size=1, max_size=60), st.sampled_from([3, 5, 7]))
def test_the_live_median_is_the_median_of_the_latest_readings(values: list[float], n: int) -> None:
    """Whatever came before has left the window."""
    live = RunningMedian(n)
    for i, value in enumerate(values):
        assert live.take(value).median == median(values[max(0, i - n + 1) : i + 1])


@pytest.mark.parametrize("n", [1, 4, 0, -3])
def test_a_window_without_a_middle_is_refused(n: int) -> None:
    """Odd, and three or more."""
    with pytest.raises(OutOfRange, match="window n"):
        RunningMedian(n)


def test_a_reading_that_is_no_number_is_refused_by_the_live_filter() -> None:
    """It would never leave the sorted window again."""
    with pytest.raises(OutOfRange):
        RunningMedian(5).take(math.nan)


def test_sens_own_example() -> None:
    """Sen 1968: slope 4, 93 % interval 26/7 to 35/8, intercepts 4 and 6; 21 pairs. (The interval
    printed in the paper is wrong, as the author of R deming notes; this one is scipy's too.)"""
    line = theil_sen(SEN_T, SEN_Y, confidence=0.93)
    assert (line.slope, line.low, line.high) == pytest.approx((4, 26 / 7, 35 / 8))
    assert (line.intercept, line.intercept_of_residuals, line.pairs) == (4, 6, 21)


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
    assert (ours.slope, ours.intercept) == pytest.approx((theirs[0], theirs[1]))
    assert (ours.low, ours.high) == pytest.approx((theirs[2], theirs[3]))


def test_the_slope_holds_with_29_percent_of_the_readings_bad_and_fails_beyond() -> None:
    """Breakdown 1 - √½ = 29.3 % (Rousseeuw and Leroy 1987, from memory)."""
    x = list(range(100))
    spoil = [1000.0 * t if t >= 72 else 0.1 * t for t in x]
    assert theil_sen(x, spoil).slope == pytest.approx(0.1)
    worse = [1000.0 * t if t >= 70 else 0.1 * t for t in x]
    assert theil_sen(x, worse).slope > 100


def test_autocorrelated_errors_widen_the_interval_about_the_same_slope() -> None:
    """phi 0.6 makes the reach of the interval twice as wide: √(1.6 / 0.4)."""
    rng = np.random.default_rng(5)
    x, y = list(range(60)), (0.02 * np.arange(60) + rng.normal(size=60)).tolist()
    plain, wide = theil_sen(x, y), theil_sen(x, y, phi=0.6)
    assert wide.slope == plain.slope
    assert (wide.high - wide.low) / (plain.high - plain.low) == pytest.approx(2, abs=0.3)


def test_the_interval_of_a_steady_line_is_the_line() -> None:
    """No spread, no doubt, no division by zero."""
    line = theil_sen([0, 60, 120], [8.0, 8.1, 8.2])
    assert line.low == pytest.approx(line.high)


@pytest.mark.parametrize("seed", range(5))
def test_the_quick_slope_of_200_readings_agrees_with_the_thorough_one(seed: int) -> None:
    """A drift of 0.1 K/h for 200 minutes under noise of 0.1 K, a fifth of the readings wild."""
    rng = np.random.default_rng(seed)
    hours = (np.arange(200) / 60).tolist()
    values = 8 + 0.1 * np.arange(200) / 60 + rng.normal(0, 0.1, 200)
    values[rng.choice(200, 40, replace=False)] = 85.0
    quick, thorough = wide_pair_slope(hours, values.tolist()), theil_sen(hours, values.tolist())
    assert quick == pytest.approx(0.1, abs=0.05)
    assert thorough.slope == pytest.approx(0.1, abs=0.05)


def test_the_quick_slope_costs_a_tenth_more_error_than_the_thorough_one() -> None:
    """Computed on 120 seeded windows of 60 readings: 1.0 to 1.25 times."""
    noise = np.random.default_rng(9).normal(size=(120, 60)).tolist()
    x = list(range(60))
    quick = np.std([wide_pair_slope(x, y) for y in noise])
    thorough = np.std([theil_sen(x, y).slope for y in noise])
    assert 1.0 < quick / thorough < 1.25


@given(st.floats(-1, 1), st.floats(-20, 20), st.integers(2, 50))
def test_both_slopes_find_an_exact_line(slope: float, start: float, n: int) -> None:
    """From two readings upwards."""
    x = [float(i) for i in range(n)]
    y = [start + slope * t for t in x]
    assert theil_sen(x, y).slope == pytest.approx(slope, abs=1e-9)
    assert wide_pair_slope(x, y) == pytest.approx(slope, abs=1e-9)


@given(st.floats(0.1, 10), st.floats(-50, 50), st.floats(-2, 2))
def test_a_slope_scales_with_its_units_and_adds_a_trend(a: float, b: float, c: float) -> None:
    """Equivariance: y -> a·y + b + c·t gives a·slope + c (Rousseeuw and Leroy 1987)."""
    moved = [a * y + b + c * t for t, y in zip(SEN_T, SEN_Y, strict=True)]
    assert theil_sen(SEN_T, moved).slope == pytest.approx(4 * a + c, abs=1e-6)


def test_slopes_refuse_one_moment_unequal_lengths_and_disorder() -> None:
    """Each with its own reason."""
    with pytest.raises(OutOfRange, match="two different"):
        theil_sen([3, 3], [1, 2])
    with pytest.raises(OutOfRange, match="equally many"):
        theil_sen([1, 2, 3], [1, 2])
    with pytest.raises(OutOfRange, match="ascending"):
        wide_pair_slope([2, 1], [1, 2])
    assert wide_pair_slope([0, 0, 0, 1], [1, 1, 1, 2]) == pytest.approx(1)


def test_weights_decide_a_weighted_median() -> None:
    """Half of the weight; exactly half is the mean of the neighbours."""
    assert weighted_median([(1, 1), (2, 1), (9, 5)]) == 9
    assert weighted_median([(1, 1), (3, 1)]) == 2
    for wrong in ([], [(1.0, 0.0)]):
        with pytest.raises(OutOfRange):
            weighted_median(wrong)


def test_four_readings_of_gilbert() -> None:
    """Gilbert 1987, Statistical Methods for Environmental Pollution Monitoring, Ex. 16.1 (from
    memory): 10 15 14 20 has S = 4 and a one-sided p of 0.167."""
    trend = mann_kendall([10, 15, 14, 20])
    assert trend.s == 4
    assert trend.p_rising == pytest.approx(1 / 6)
    assert trend.p == pytest.approx(1 / 3)


@given(st.permutations(range(8)))
def test_exact_chances_are_those_of_scipy(values: list[int]) -> None:
    """scipy.stats.kendalltau against time, exact."""
    theirs = stats.kendalltau(range(8), values, method="exact").pvalue
    assert mann_kendall(values).p == pytest.approx(theirs)


def test_beyond_ten_readings_the_normal_approximation_is_close() -> None:
    """Within 0.01 of scipy's exact chance at n = 11 and 20."""
    for n, seed in ((11, 1), (20, 2), (20, 3)):
        values = np.random.default_rng(seed).permutation(n).tolist()
        exact = stats.kendalltau(range(n), values, method="exact").pvalue
        assert mann_kendall(values).p == pytest.approx(exact, abs=0.01)


def test_a_flat_line_has_no_trend() -> None:
    """S = 0 and p = 1, although its variance is none."""
    trend = mann_kendall([8.0] * 12)
    assert (trend.s, trend.p) == (0, 1.0)


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


def test_a_stuck_probe_has_no_autocorrelation_to_speak_of() -> None:
    """Zero, not a division by zero."""
    assert autocorrelation([8.0625] * 20) == 0.0
    assert autocorrelation([0.1 + 0.2] * 9) == 0.0


def test_sixty_readings_at_half_correlation_are_worth_twenty() -> None:
    """n (1 - phi) / (1 + phi)."""
    assert effective_count(60, 0.5) == pytest.approx(20)
    assert effective_count(60, 0.0) == 60
