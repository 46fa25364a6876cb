"""Hydrometer, Baume, SMV and the day when Baume reaches zero."""

from __future__ import annotations

import pytest
from CoolProp.CoolProp import PropsSI
from hypothesis import given
from hypothesis import strategies as st

from kuraban.errors import OutOfRange
from kuraban.trade.density import (
    ZeroDay,
    alcohol_by_fall,
    baume_from_smv,
    bmd,
    forecast_zero,
    hydrometer_at_15,
    sg_from_smv,
    smv_from_baume,
    smv_from_sg,
    sweetness,
)

# moromi day, Baume of one junmai batch in a brewer's diary (common practice)
DIARY = [(6, 4.0), (7, 3.2), (8, 2.9), (9, 2.4), (10, 1.9), (11, 1.5), (12, 1.1)]


@pytest.mark.parametrize(
    ("smv", "sg", "baume"),
    [
        (-80, 1.0587, 8.0),
        (-70, 1.0510, 7.0),
        (-50, 1.0359, 5.0),
        (-30, 1.0212, 3.0),
        (-10, 1.0070, 1.0),
        (0, 1.0000, 0.0),
        (3, 0.9979, -0.3),
        (5.4, 0.9963, -0.54),
        (10, 0.9931, -1.0),
    ],
)
def test_smv_specific_gravity_and_baume_are_one_scale(smv: float, sg: float, baume: float) -> None:
    """Nada Sake Research Group glossary, "SMV": (1 / SG - 1) · 1443, and ten times Baume."""
    assert sg_from_smv(smv) == pytest.approx(sg, abs=5.1e-5)
    assert smv_from_sg(sg) == pytest.approx(smv, abs=0.08)
    assert baume_from_smv(smv) == pytest.approx(baume)
    assert smv_from_baume(baume) == pytest.approx(smv)


def test_pure_water_reads_one_and_a_quarter() -> None:
    """+1.26 at 15 °C against water at 4 °C (Nada glossary, "SMV"; densities CoolProp, IAPWS-95)."""
    at_15, at_4 = (PropsSI("D", "T", t + 273.15, "P", 101_325, "Water") for t in (15, 4))
    assert smv_from_sg(at_15 / at_4) == pytest.approx(1.26, abs=0.01)


@given(st.floats(-150, 50))
def test_every_way_round_the_scale_comes_back(smv: float) -> None:
    """SMV to SG and back, and to Baume and back."""
    assert smv_from_sg(sg_from_smv(smv)) == pytest.approx(smv, abs=1e-9)
    assert smv_from_baume(baume_from_smv(smv)) == pytest.approx(smv, abs=1e-9)


def test_a_warm_sample_reads_too_dry_by_a_third_of_a_degree_a_kelvin() -> None:
    """0.3 to 0.4 SMV a kelvin near 15 % (computed from ethanol tables); none at 15 °C."""
    assert hydrometer_at_15(3, 15, 15) == pytest.approx(3)
    assert 0.3 < 3 - hydrometer_at_15(3, 16, 15) < 0.4
    assert 3 - hydrometer_at_15(3, 20, 15) == pytest.approx(5 * 0.33, abs=0.1)
    assert hydrometer_at_15(3, 10, 15) > 3


@pytest.mark.parametrize(
    ("by_mass", "by_volume"), [(0.0, 0.0), (0.04, 5.0), (0.08, 10.0), (0.12, 15.1)]
)
def test_the_correction_is_the_expansion_of_alcohol_in_water(
    by_mass: float, by_volume: float
) -> None:
    """CoolProp INCOMP::MEA (Melinder 2010) from 10 to 20 °C, less the glass: within 10 %."""
    densities = [
        PropsSI("D", "T", t + 273.15, "P", 101_325, f"INCOMP::MEA[{by_mass}]") for t in (10, 15, 20)
    ]
    expansion = (densities[0] - densities[2]) / 10 / densities[1] - 0.25e-4
    ours = (hydrometer_at_15(0, 10, by_volume) - hydrometer_at_15(0, 20, by_volume)) / 10
    assert ours == pytest.approx(1443 * expansion, rel=0.1)


@pytest.mark.parametrize(
    ("day", "baume", "found"),
    [
        (6, 4.0, 24.0),
        (7, 3.2, 22.4),
        (8, 2.9, 23.2),
        (9, 2.4, 21.6),
        (10, 1.9, 19.0),
        (11, 1.5, 16.5),
        (12, 1.1, 13.2),
        (8, 4.6, 36.8),
        (21, 1.7, 35.7),
    ],
)
def test_bmd_of_batches_in_brewers_diaries(day: float, baume: float, found: float) -> None:
    """Day times Baume (Nada glossary, "BMD curve"; readings common practice, computed)."""
    assert bmd(day, baume) == pytest.approx(found)


def test_early_forecasts_run_late() -> None:
    """The line through days 8 and 9 says day 22 to 23, the one through days 11 and 12 day 16
    (computed from a brewer's diary)."""
    early, late = forecast_zero(DIARY[2:4]), forecast_zero(DIARY)
    assert early is not None
    assert late is not None
    assert early.likely == pytest.approx(22.5)
    assert late.likely == pytest.approx(16.0)
    assert late.earliest == late.likely < late.latest < early.likely


def test_there_is_no_forecast_before_the_hump() -> None:
    """While BMD rises, and after a single sample."""
    assert forecast_zero([(5, 6.0)]) is None
    assert forecast_zero([(5, 6.0), (6, 5.6), (7, 5.2)]) is None
    assert forecast_zero([(7, 6.0), (8, 5.0), (9, 4.5)]) is None


def test_a_small_rise_within_the_fall_is_left_out() -> None:
    """Day 8 of the diary stands above day 7; the steps that fall still forecast."""
    found = forecast_zero(DIARY[:4])
    assert found is not None
    assert found.likely == pytest.approx(22.5)


@given(st.floats(20, 70), st.integers(8, 15), st.floats(15, 35))
def test_a_straight_fall_is_forecast_exactly(peak: float, day: int, more: float) -> None:
    """Every line through a straight fall crosses zero on the same day."""
    zero = day + more
    samples = [(day + i, peak * (zero - day - i) / more / (day + i)) for i in range(6)]
    found = forecast_zero(samples)
    assert found is not None
    assert (found.earliest, found.likely, found.latest) == pytest.approx((zero, zero, zero))


def test_once_baume_is_below_zero_the_day_is_behind() -> None:
    """Between the two samples that lie on either side of it."""
    found = forecast_zero([(18, 1.0), (19, 0.4), (20, -0.2)])
    assert isinstance(found, ZeroDay)
    assert 19 < found.likely < 20


def test_a_baume_lost_is_about_a_percent_of_alcohol_won() -> None:
    """Rough: 10.8 % at 5.2 Baume, some 15 % at 1.1 (two diaries, common practice)."""
    assert alcohol_by_fall(10.8, 5.2, 1.1) == pytest.approx(15, abs=0.2)


def test_sweetness_of_an_average_sake() -> None:
    """Sato et al. 1974, J. Soc. Brew. Japan 69:774: SMV +3, acidity 1.3 is a little dry; a heavier
    or less acid sake is sweeter."""
    assert sweetness(3, 1.3) == pytest.approx(193_593 / 1446 - 1.16 * 1.3 - 132.57)
    assert -0.3 < sweetness(3, 1.3) < 0
    assert sweetness(-5, 1.3) > sweetness(3, 1.3) > sweetness(3, 1.8)


def test_what_no_hydrometer_shows_is_refused() -> None:
    """Each by name."""
    for wrong in (
        lambda: smv_from_sg(0),
        lambda: sg_from_smv(-1443),
        lambda: baume_from_smv(999),
        lambda: smv_from_baume(99),
        lambda: hydrometer_at_15(3, 60, 15),
        lambda: hydrometer_at_15(3, 15, 40),
        lambda: bmd(-1, 3),
        lambda: forecast_zero([]),
        lambda: forecast_zero([(8, 3.0), (8, 2.0)]),
        lambda: alcohol_by_fall(10, 5, 1, slope=9),
        lambda: sweetness(3, 11),
    ):
        with pytest.raises(OutOfRange):
            wrong()
