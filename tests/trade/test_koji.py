"""Heat and water of a koji bed, balanced."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kuraban.errors import OutOfRange
from kuraban.trade.koji import (
    BED,
    BURNED,
    DRY,
    PROTEIN,
    STARCH_HEAT,
    STEAMED,
    burned_starch,
    burned_watts,
    evaporation_heat,
    rise_watts,
    vapour_watts,
    water_lost,
)
from kuraban.trade.mixing import KOJI_PER_WHITE
from tests.trade.fluids import props


@pytest.mark.parametrize("celsius", [1, 10, 20, 30, 36, 42, 60])
def test_heat_of_evaporation_agrees_with_the_steam_tables(celsius: float) -> None:
    """IAPWS-95 by CoolProp, within 0.1 %; half a per cent of the slope is 0.03 % at 60 °C."""
    kelvin = celsius + 273.15
    steam = props("H", "T", kelvin, "Q", 1, "Water") - props("H", "T", kelvin, "Q", 0, "Water")
    assert evaporation_heat(celsius) == pytest.approx(steam, rel=1e-3)
    assert evaporation_heat(100) == pytest.approx(2.265e6, rel=1e-4)  # Rogers and Yau, from memory


def test_a_hundred_kilograms_that_rise_a_degree_an_hour_take_some_ninety_watts() -> None:
    """133 kg of which 86 are dry, by hand from Choi and Okos at 35 °C (S7: 4179.7, 1610.2, 2048.9
    J/kgK): 47 · 4179.7 + 79.98 · 1610.2 + 6.02 · 2048.9 = 337,560 J/K, in an hour 93.8 W."""
    assert rise_watts(100, 1.0, 0.0) == pytest.approx(93.77, abs=0.05)


def test_koji_that_has_dried_is_lighter_and_takes_less() -> None:
    """117 kg, 81.7 dry: 35.3 · 4179.7 + 75.98 · 1610.2 + 5.72 · 2048.9 by hand, 78.2 W."""
    assert rise_watts(100, 1.0, 1.0) == pytest.approx(78.23, abs=0.05)
    assert rise_watts(100, 1.0, 0.5) == pytest.approx((93.77 + 78.23) / 2, rel=0.01)


def test_what_burns_takes_oxygen_in_and_leaves_water() -> None:
    """100 kg of white rice go in as 133 kg and come out as 117. Masses of C6H10O5 + 6 O2 = 6 CO2 +
    5 H2O by hand (12.011, 1.008, 15.999 g/mol): 4.3 kg of starch (5 % of 86) take 5.09 kg of oxygen
    in and make 7.00 kg of gas and 2.39 kg of water; 16 = 4.3 - 2.39 + 14.09."""
    burned = burned_starch(133, 117)
    assert burned == pytest.approx(4.3, abs=0.005)
    oxygen, gas = burned * 6 * 31.998 / 162.14, burned * 6 * 44.009 / 162.14
    left = water_lost(133, 117)
    assert left == pytest.approx(14.09, abs=0.005)
    assert 133 + oxygen == pytest.approx(117 + gas + left, abs=0.002)


def test_a_bed_makes_twice_the_heat_that_its_vapour_carries() -> None:
    """4.3 kg of starch at 17.5 MJ/kg are 75 MJ, in 40 h 523 W; 14.1 kg of vapour at 36 °C (2.416
    MJ/kg by the steam tables) carry 236 W; a rise of 10 K in a day takes 39 W (by hand)."""
    made = burned_watts(burned_starch(133, 117), 40)
    gone = vapour_watts(water_lost(133, 117), 40, 36)
    assert made == pytest.approx(522.6, rel=2e-3)
    assert gone == pytest.approx(236.4, rel=2e-3)
    assert gone + rise_watts(100, 10 / 24, 0.5) < made


def test_starch_burns_with_the_heat_of_its_glucose() -> None:
    """2803 kJ/mol of glucose (S5) make 17.29 MJ/kg of its anhydride; splitting it off gives some
    more: 17.5 (textbook, from memory)."""
    assert pytest.approx(2803e3 / 0.16214, rel=0.015) == STARCH_HEAT
    assert pytest.approx(17.5e6, rel=1e-3) == STARCH_HEAT


def test_what_houses_share() -> None:
    """Common practice: 1.33 and 1.17 of the white rice (S8), 14 % of water in it, 7 % of protein
    in the dry, 5 % of it burned, a bed of 35 °C."""
    assert BED == 35.0
    assert (STEAMED, KOJI_PER_WHITE, DRY, PROTEIN, BURNED) == (1.33, 1.17, 0.86, 0.07, 0.05)


@given(st.floats(1, 1000), st.floats(-5, 5), st.floats(0.5, 3), st.floats(0, 1))
def test_twice_the_rice_takes_twice_the_heat(
    kg: float, rate: float, times: float, dried: float
) -> None:
    once, many = rise_watts(kg, rate, dried), rise_watts(times * kg, rate, dried)
    assert many == pytest.approx(times * once)


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: evaporation_heat(-1), lambda: rise_watts(0, 1, 0), lambda: rise_watts(10, 40, 0),
        lambda: water_lost(10, 11), lambda: vapour_watts(1, 0, 36), lambda: rise_watts(10, 1, 1.5),
        lambda: burned_watts(-1, 3), lambda: burned_starch(10, 0),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused(wrong: object) -> None:
    with pytest.raises(OutOfRange):
        wrong()  # type: ignore[operator]
