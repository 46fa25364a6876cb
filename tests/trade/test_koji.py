"""Heat and water of a koji bed."""

from __future__ import annotations

import pytest
from CoolProp.CoolProp import PropsSI
from hypothesis import given
from hypothesis import strategies as st

from kuraban.errors import OutOfRange
from kuraban.trade.koji import (
    FINISHED,
    STEAMED,
    evaporation_heat,
    rise_watts,
    vapour_watts,
    water_lost,
)


@pytest.mark.parametrize("celsius", [1, 10, 20, 30, 36, 42, 60])
def test_heat_of_evaporation_agrees_with_the_steam_tables(celsius: float) -> None:
    """IAPWS-95 as CoolProp has it, within 0.1 %."""
    kelvin = celsius + 273.15
    steam = PropsSI("H", "T", kelvin, "Q", 1, "Water") - PropsSI("H", "T", kelvin, "Q", 0, "Water")
    assert evaporation_heat(celsius) == pytest.approx(steam, rel=1e-3)


def test_a_hundred_kilograms_that_rise_a_degree_an_hour_take_some_seventy_watts() -> None:
    """133 kg of steamed rice x about 1.98 kJ/(kg K) / 3600 s (Siebel 1892), by hand: 73 W."""
    assert rise_watts(100, 1.0) == pytest.approx(133 * (0.837 + 3.349 * 0.34) / 3.6, rel=0.01)


def test_koji_that_has_dried_is_lighter_and_drier_and_takes_less() -> None:
    assert rise_watts(100, 1.0, dried=1.0) < rise_watts(100, 1.0)


def test_what_dries_from_steamed_rice_to_koji_carries_most_of_the_heat() -> None:
    """100 kg of white rice lose 16 kg in 40 h: 15 kg of water, some 250 W all along; the bed's
    rise of 10 K in a day takes 30 W (energy balance by hand)."""
    lost = water_lost(100 * STEAMED, 100 * FINISHED)
    assert lost == pytest.approx(15.0, abs=0.1)
    assert vapour_watts(lost, 40) == pytest.approx(252, rel=0.02)
    assert vapour_watts(lost, 40) > 5 * rise_watts(100, 10 / 24)


@given(st.floats(1, 1000), st.floats(-5, 5), st.floats(0.5, 3))
def test_twice_the_rice_takes_twice_the_heat(kg: float, rate: float, times: float) -> None:
    assert rise_watts(times * kg, rate) == pytest.approx(times * rise_watts(kg, rate))


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: evaporation_heat(-1), lambda: rise_watts(0, 1), lambda: rise_watts(10, 40),
        lambda: water_lost(10, 11), lambda: vapour_watts(1, 0), lambda: rise_watts(10, 1, 1.5),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused(wrong: object) -> None:
    with pytest.raises(OutOfRange):
        wrong()  # type: ignore[operator]
