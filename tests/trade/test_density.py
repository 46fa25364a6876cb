"""Hydrometer, Baume, SMV and the day when Baume reaches zero."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kuraban.errors import OutOfRange
from kuraban.trade.density import (
    ALCOHOL_ERROR,
    CELSIUS_ERROR,
    GLASS,
    LONGEST_MASH,
    READING_ERROR,
    STEPS,
    SUGAR_ERROR,
    ZeroDay,
    alcohol_by_fall,
    baume_from_smv,
    bmd,
    extract,
    forecast_zero,
    hydrometer_at_15,
    original_extract,
    sg_from_smv,
    smv_from_baume,
    smv_from_sg,
    sweetness,
)
from kuraban.trade.liquids import by_mass
from tests.trade.fluids import props

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
    at_15, at_4 = (props("D", "T", t + 273.15, "P", 101_325, "Water") for t in (15, 4))
    assert smv_from_sg(at_15 / at_4) == pytest.approx(1.26, abs=0.01)


@given(st.floats(-150, 50))
def test_every_way_round_the_scale_comes_back(smv: float) -> None:
    """SMV to SG and back, and to Baume and back."""
    assert smv_from_sg(sg_from_smv(smv)) == pytest.approx(smv, abs=1e-9)
    assert smv_from_baume(baume_from_smv(smv)) == pytest.approx(smv, abs=1e-9)


def read_at(percent: float, celsius: float) -> tuple[float, float]:
    """What a hydrometer shows in alcohol and water, and what at 15 °C, from a library's densities
    (Melinder 2010 and IAPWS-95 by CoolProp) and glass that grows by 25e-6 a K."""
    share = by_mass(percent)
    fluid = f"INCOMP::MEA[{share}]" if share else "Water"
    warm, at_15 = (props("D", "T", t + 273.15, "P", 101_325, fluid) for t in (celsius, 15))
    floats = warm * (1 + 25e-6 * (celsius - 15))
    return 1443 * (999.97 / floats - 1), 1443 * (999.97 / at_15 - 1)


@pytest.mark.parametrize("celsius", [5, 10, 15, 20, 25, 30])
@pytest.mark.parametrize("percent", [0, 10, 15, 20])
def test_a_hydrometer_in_alcohol_and_water_is_put_right(percent: float, celsius: float) -> None:
    """Each on its own: a straight line was off by 0.9 to 3.3 SMV at 5 and 30 °C."""
    shown, true = read_at(percent, celsius)
    found = hydrometer_at_15(shown, celsius, percent)
    assert found.smv == pytest.approx(true, abs=0.2)
    assert abs(found.smv - true) <= 0.03 + found.error


@pytest.mark.parametrize(
    ("percent", "corrections"),
    [
        (0, (-0.88, -0.68, 1.10, 2.57, 4.38)),
        (15, (-2.31, -1.37, 1.78, 3.92, 6.40)),
    ],
)
def test_the_corrections_are_those_reckoned_by_another_hand(
    percent: float, corrections: tuple[float, ...]
) -> None:
    """OIML R 22, evaluated apart from this code, at SMV 0 and without sugar; 0.05 of slack. Sugar
    adds up to a fifth at 15 %."""
    for celsius, subtracted in zip((5, 10, 20, 25, 30), corrections, strict=True):
        smv = 1.26 if percent == 0 else 27.3  # as pure alcohol and water read
        found = hydrometer_at_15(smv, celsius, percent)
        assert smv - found.smv == pytest.approx(subtracted, rel=0.08, abs=0.05)


# S4: a hydrometer in % of sugar, right at 20 °C: what its reading lacks (from memory)
BRIX_AT_15 = {10: -0.24, 20: -0.28}


@pytest.mark.parametrize(("percent", "lacks"), BRIX_AT_15.items())
def test_sweet_water_is_put_right_as_the_sugar_table_has_it(percent: int, lacks: float) -> None:
    """From 20 to 15 °C; 0.0041 to 0.0043 of SG for each % of sugar; within 0.15 SMV. Half a per
    cent of the sugar itself is 0.005 SMV and seen by nobody."""
    each = {10: 0.00413, 20: 0.00435}[percent]
    shown = smv_from_sg({10: 1.0400, 20: 1.0829}[percent])
    expected = 1443 * lacks * each / sg_from_smv(shown) ** 2
    found = hydrometer_at_15(shown, 20, 0)
    assert found.smv - shown == pytest.approx(expected, abs=0.15)
    assert hydrometer_at_15(shown, 20, 0).error > 0.1


def test_what_is_not_known_of_a_sample_stands_in_its_error() -> None:
    """Alcohol known to five per cent tells less; at 15 °C nothing is to be told."""
    known, guessed = hydrometer_at_15(-20, 25, 15), hydrometer_at_15(-20, 25, 15, 5.0)
    assert known.smv == guessed.smv
    assert known.error < guessed.error
    at_15 = hydrometer_at_15(-20, 15, 15)
    assert at_15.smv == pytest.approx(-20)
    assert at_15.error < 0.12  # the sample's own 0.3 K


def test_what_crews_and_makers_allow() -> None:
    """Common practice, and ISO 387 for the glass (from memory): half a per cent more of any of
    these moves no figure that is shown."""
    assert (ALCOHOL_ERROR, CELSIUS_ERROR, SUGAR_ERROR) == (1.0, 0.3, 0.3)
    assert (READING_ERROR, STEPS, LONGEST_MASH, GLASS) == (0.05, 3, 60.0, 25e-6)


@given(st.floats(-100, 20), st.floats(7, 29), st.floats(0, 22))
def test_a_warmer_sample_of_one_reading_is_sweeter(smv: float, celsius: float, abv: float) -> None:
    """Above 7 °C; water itself is densest at 4 °C."""
    assert hydrometer_at_15(smv, celsius + 1, abv).smv < hydrometer_at_15(smv, celsius, abv).smv


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


def test_the_line_of_bmd_runs_late_and_the_range_says_so() -> None:
    """A brewer's diary that reached zero about day 15 (0.4 a day at 1.1 on day 12): drawn from days
    8 and 9 the line says day 22.5 (computed), so nothing is told there; the range of days 10, 11
    and 12 holds day 15 and closes in on it."""
    assert forecast_zero(DIARY[:4]) is None
    found = [forecast_zero(DIARY[:count]) for count in (5, 6, 7)]
    widths = []
    for one in found:
        assert one is not None
        assert one.earliest < 15 < one.latest
        assert one.earliest < one.likely < one.latest
        widths.append(one.latest - one.earliest)
    assert widths == sorted(widths, reverse=True)


def test_after_one_step_of_the_fall_the_range_is_wide() -> None:
    """Where BMD has just turned nobody knows the day to a week."""
    found = forecast_zero(DIARY[:2])
    assert found is not None
    assert found.latest - found.earliest > 7


def test_there_is_no_forecast_before_the_hump() -> None:
    """While BMD rises, and after a single sample."""
    assert forecast_zero([(5, 6.0)]) is None
    assert forecast_zero([(5, 6.0), (6, 5.6), (7, 5.2)]) is None
    assert forecast_zero([(7, 6.0), (8, 5.0), (9, 4.5)]) is None


def invented(rng: np.random.Generator) -> tuple[float, Callable[[float], float]]:
    """The day of zero, and Baume by day: a hump of 6 to 9, zero on day 14 to 36, a fall that slows
    down, fast first or slow first."""
    zero, hump, rest = rng.uniform(14, 36), rng.uniform(6, 9), rng.uniform(0.3, 2.5)
    shape, span = rng.uniform(0.8, 1.25), zero - 3.5

    def baume(day: float) -> float:
        gone = (max(day - 3.5, 0) / span) ** shape
        return float((hump + rest) * (rest / (hump + rest)) ** gone - rest)

    return zero, baume


def test_the_range_holds_the_day_nineteen_times_in_twenty() -> None:
    """400 invented batches read each morning to 0.05 Baume; half a day more on either side. It
    says nothing early, and once it is told at all it is some days wide."""
    rng, held, width = np.random.default_rng(7), [], []
    for _ in range(400):
        zero, baume = invented(rng)
        read: list[tuple[float, float]] = []
        for day in np.arange(4.3, zero - 0.5):
            read.append((float(day), round(baume(day) + rng.normal(0, 0.05), 1)))
            found = forecast_zero(read)
            if found is not None:
                held.append(found.earliest - 0.5 <= zero <= found.latest + 0.5)
                width.append(found.latest - found.earliest)
    assert len(held) > 2000
    assert np.mean(held) > 0.94
    assert 4 < np.median(width) < 15


@pytest.mark.parametrize(("day", "smv", "a_day"), [(21, -17, 2), (12, -11, 4)])
def test_brewers_own_words_lie_in_the_range(day: int, smv: float, a_day: float) -> None:
    """A ginjo at -17 on day 21 that moves by two, then by one a day, for day 35 at +3 to +5: zero
    about day 33; a junmai at -11 on day 12 that moves by four (two diaries, common practice)."""
    read = [(float(day - back), -(smv - a_day * back) / 10) for back in (4, 3, 2, 1, 0)]
    found = forecast_zero(read)
    assert found is not None
    assert found.earliest < {21: 33, 12: 15}[day] < found.latest


def test_once_baume_is_below_zero_the_day_is_behind() -> None:
    """Between the two samples that lie on either side of it, however many came after."""
    for later in ([], [(21, -0.5), (22, -0.7)]):
        found = forecast_zero([(18, 1.0), (19, 0.4), (20, -0.2), *later])
        assert found == ZeroDay(*[pytest.approx(19 + 2 / 3)] * 3)


def test_a_baume_lost_is_about_a_percent_of_alcohol_won() -> None:
    """Rough: 10.8 % at 5.2 Baume, some 15 % at 1.1 (two diaries, common practice)."""
    assert alcohol_by_fall(10.8, 5.2, 1.1, 1.0) == pytest.approx(15, abs=0.2)


@pytest.mark.parametrize(
    ("percent", "at_15"), [(0, 1.0), (10, 0.98662), (15, 0.98112), (20, 0.97605)]
)
def test_alcohol_in_water_has_no_extract(percent: float, at_15: float) -> None:
    """National Tax Agency analysis methods (S14): (S - A) · 260 + 0.21. S is 15/4 °C and A
    15/15 °C as in the printed table (S6, from memory): what floats in mere alcohol and water is
    alcohol, so the 0.21 is no more than the two waters' difference."""
    assert extract(at_15 * 0.99910 / 0.99997, percent) == pytest.approx(0, abs=0.02)
    assert extract(at_15 * 0.99910 / 0.99997 + 0.01, percent) == pytest.approx(2.6, abs=0.02)


@pytest.mark.parametrize(("alcohol", "smv"), [(15.3, 2.5), (15.8, 4.5), (15.4, 3.7), (15.4, 3.9)])
def test_average_sake_on_the_shelf_holds_three_to_six_grams(alcohol: float, smv: float) -> None:
    """S15: ordinary, ginjo, junmai and honjozo sake in the mean of a year; S14: between 3 and 6 g
    of extract per 100 mL in most sake sold."""
    assert 3 < extract(sg_from_smv(smv), alcohol) < 6


@pytest.mark.parametrize(("smv", "acidity"), [(2.5, 1.2), (4.5, 1.3), (3.7, 1.5), (3.9, 1.3)])
def test_average_sake_is_rather_dry(smv: float, acidity: float) -> None:
    """The same sake by S16, whose three figures are 193593, 1.16 and 132.57, each by long division:
    193593 over 1445.5, 1447.5, 1446.7 and 1446.9 is 133.9281, 133.7430, 133.8170 and 133.7985."""
    quotient = {2.5: 133.9281, 4.5: 133.7430, 3.7: 133.8170, 3.9: 133.7985}[smv]
    assert sweetness(smv, acidity) == pytest.approx(quotient - 1.16 * acidity - 132.57, abs=2e-4)
    assert -0.6 < sweetness(smv, acidity) < 0.1


def test_where_brewers_change_from_baume_to_smv() -> None:
    """Nada Sake Research Group glossary, "SMV": Baume 3.0 is -30, 2.0 is -20."""
    assert (smv_from_baume(3.0), smv_from_baume(2.0)) == (-30, -20)


def test_water_has_no_extract_but_for_seventeen_milligrams() -> None:
    """(999.1026 / 999.9749 - 1) · 260 + 0.21 by hand from the waters of IAPWS-95: -0.0168."""
    at_15, at_4 = (props("D", "T", t + 273.15, "P", 101_325, "Water") for t in (15, 4))
    assert extract(at_15 / at_4, 0) == pytest.approx(-0.0168, abs=5e-4)


def test_extract_and_original_extract_of_an_average_sake() -> None:
    """Sake of SMV +3 and 15.5 % holds 4 to 5 g of extract (common practice). 1 % of alcohol took
    0.7936 g/mL of it · 180.16 / (2 · 46.07) = 1.552 g of glucose; with what yeast takes for itself
    the method counts 1.5894 (S14)."""
    found = extract(sg_from_smv(3), 15.5)
    assert 4 < found < 5
    assert original_extract(found, 15.5) - found == pytest.approx(15.5 * 1.5894, abs=0.001)
    assert pytest.approx(0.7936 * 180.16 / (2 * 46.07), rel=0.03) == 1.5894


@pytest.mark.parametrize(
    ("smv", "acidity", "found"),
    [(0, 0, 1.589), (3, 1.3, -0.195), (-5, 1.3, 0.548), (10, 2.0, -1.653), (-40, 1.8, 3.326)],
)
def test_sweetness_by_hand(smv: float, acidity: float, found: float) -> None:
    """Sato et al. 1974, J. Soc. Brew. Japan 69:774, by long division: 193593 / 1443 is 134.1601."""
    assert sweetness(smv, acidity) == pytest.approx(found, abs=0.002)


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
        lambda: extract(0.8, 15),
        lambda: extract(1.0, 40),
        lambda: original_extract(-1, 15),
        lambda: sweetness(3, 11),
    ):
        with pytest.raises(OutOfRange):
            wrong()
