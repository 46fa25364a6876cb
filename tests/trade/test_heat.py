"""Heat made and heat lost, against textbooks, tables and a library of water properties."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kuraban.errors import OutOfRange
from kuraban.trade.heat import (
    BARE_STEEL,
    ETHANOL_DENSITY,
    ETHANOL_HEAT,
    INSULATED,
    LIQUID_SHARE,
    MASH_HEAT_CAPACITY,
    Hours,
    fermentation_watts,
    hours_until,
    tank_surface,
    warming_rate,
)
from kuraban.trade.mixing import WATER
from tests.trade.fluids import props


def test_heat_of_fermentation_per_mol_kilogram_and_litre() -> None:
    """24 kcal/mol (Colombié, Malherbe and Sablayrolles 2007, Food Control 18:953): 1.085 MJ per kg
    of ethanol with 100 kJ/mol; 8.6 kJ for 1 % in a litre."""
    assert pytest.approx(1.085e6, rel=5e-3) == ETHANOL_HEAT
    assert pytest.approx(8.6e3, rel=5e-3) == 0.01 * ETHANOL_DENSITY * ETHANOL_HEAT


def test_the_accepted_heat_lies_among_the_consistent_figures() -> None:
    """Hess's law, enthalpies of formation in kJ/mol (Alberty; Goldberg and Tewari, from memory):
    dissolved sugar and alcohol, CO2 as gas, 101.4 kJ/mol = 563 kJ/kg; brewers' 586 kJ/kg of extract
    (Kunze, from memory). Pure substances (CRC Handbook) give 69.1 kJ/mol, a third too little."""
    dissolved = -1262.2 - 2 * -288.3 - 2 * -393.5
    pure = -1273.3 - 2 * -277.69 - 2 * -393.51
    assert dissolved == pytest.approx(101.4, abs=0.1)
    assert pure == pytest.approx(69.1, abs=0.1)
    sugar = ETHANOL_HEAT * 2 * 0.046068 / 0.180156
    assert sugar == pytest.approx(dissolved * 1000 / 0.180156, rel=0.02)
    assert sugar == pytest.approx(586e3, rel=0.06)


def test_a_cubic_metre_makes_a_hundred_watts_for_a_percent_a_day() -> None:
    """1 % ABV a day in 1 m³ of liquid (computed)."""
    assert fermentation_watts(1.0, 1000, 1.0) == pytest.approx(100, rel=0.02)


def test_a_tonne_of_rice_makes_88_kilowatt_hours() -> None:
    """372 L of alcohol a tonne (national mean, junmai): 318 MJ, 184 W over 20 days, 115 W over 32
    (computed)."""
    total = 372 * ETHANOL_DENSITY * ETHANOL_HEAT
    assert total == pytest.approx(318e6, rel=0.01)
    assert total / 3.6e6 == pytest.approx(88, rel=0.01)
    for days, watts in ((20, 184), (32, 115)):
        ours = fermentation_watts(100 * 372 / days / 10_000, 10_000, 1.0)
        assert ours == pytest.approx(watts, rel=0.01)


@pytest.mark.parametrize(
    ("rate", "per_hour", "to_half", "to_one", "after_12"),
    [
        (0.5, 0.04, 12, 24, 0.5),
        (0.8, 0.07, 7.5, 15, 0.8),
        (1.0, 0.08, 6, 12, 1.0),
        (1.5, 0.13, 4, 8, 1.5),
        (2.0, 0.17, 3, 6, 2.0),
    ],
)
def test_a_tank_without_cooling_drifts_by_a_degree_or_two_a_night(
    rate: float, per_hour: float, to_half: float, to_one: float, after_12: float
) -> None:
    """Alcohol in %/day, K/h, hours to half a degree and to one, K in 12 h (computed)."""
    ours = warming_rate(rate, 1400, product=10, room=10, u_value=0, liquid_share=LIQUID_SHARE)
    assert ours == pytest.approx(per_hour, abs=0.007)
    assert hours_until(10, 10.5, [ours]).soonest == pytest.approx(to_half, rel=0.04)
    assert hours_until(10, 11.0, [ours]).soonest == pytest.approx(to_one, rel=0.04)
    assert 12 * ours == pytest.approx(after_12, rel=0.04)


def test_a_percent_a_day_warms_a_cubic_metre_by_a_tenth_of_a_degree_an_hour() -> None:
    """By hand: 10 L of alcohol of 0.789 kg/L at 24 · 4184 / 0.092136 J/kg in a day are 99.53 W, in
    an hour 358.3 kJ, and 1,000 L hold 3.7 MJ/K."""
    ours = warming_rate(1.0, 1000, product=10, room=10, u_value=0, liquid_share=1.0)
    assert ours == pytest.approx(0.09684, abs=2e-5)


@pytest.mark.parametrize(("share", "rise"), [(0.80, 1.8), (0.85, 2.0), (0.90, 2.1)])
def test_a_percent_of_alcohol_warms_a_mash_by_two_degrees(share: float, rise: float) -> None:
    """Adiabatic, for liquid shares of 0.80 to 0.90 (computed)."""
    ours = 24 * warming_rate(1.0, 1000, product=10, room=10, u_value=0, liquid_share=share)
    assert ours == pytest.approx(rise, abs=0.07)
    assert LIQUID_SHARE == 0.85


def bare(litres: float, u_value: float) -> float:
    """K/h of a tank without ferment in a room ten degrees warmer."""
    return warming_rate(0, litres, product=10, room=20, u_value=u_value, liquid_share=0.85)


@pytest.mark.parametrize(
    ("litres", "slow", "fast"),
    [
        (450, 0.34, 0.54),
        (1400, 0.23, 0.37),
        (2800, 0.18, 0.29),
        (5000, 0.15, 0.24),
        (9000, 0.12, 0.20),
    ],
)
def test_a_bare_tank_gains_from_a_room_ten_degrees_warmer(
    litres: float, slow: float, fast: float
) -> None:
    """K/h at 5 and 8 W/m²K (computed for a somewhat smaller surface: within 9 %); with insulation
    a fifth to an eighth of it."""
    ours = [bare(litres, u) for u in BARE_STEEL]
    assert ours == pytest.approx([slow, fast], rel=0.09)
    covered = bare(litres, sum(INSULATED) / 2)
    assert ours[0] / covered == pytest.approx(5)
    assert ours[1] / covered == pytest.approx(8)


@pytest.mark.parametrize(("per_day", "low", "high"), [(15 / 28, 0.8, 1.2), (15 / 10, 2.3, 3.2)])
def test_cooling_need_of_wine_is_of_the_same_size(per_day: float, low: float, high: float) -> None:
    """A wine guide: 0.8 to 1 K/day for a ferment of 28 days, 2.3 to 2.8 for 10 days; ours, without
    the fifth that leaves with gas and wall, may be that much more."""
    assert (
        low
        < 24
        * warming_rate(per_day, 1000, product=18, room=18, u_value=0, liquid_share=LIQUID_SHARE)
        < high
    )


def test_a_tank_as_high_as_wide_has_the_least_surface() -> None:
    """1 m across and 1 m high: 785 L and 4.71 m²."""
    assert tank_surface(1000 * math.pi / 4) == pytest.approx(1.5 * math.pi)


@given(st.floats(0, 3), st.floats(100, 20_000), st.floats(0, 20), st.floats(0, 20))
def test_a_warmer_room_or_a_livelier_mash_warms_faster(
    rate: float, litres: float, product: float, room: float
) -> None:
    """Monotone; without either, nothing moves."""

    def warms(alcohol: float, air: float) -> float:
        return warming_rate(
            alcohol, litres, product=product, room=air, u_value=6, liquid_share=LIQUID_SHARE
        )

    assert warms(rate + 0.1, room) > warms(rate, room)
    assert warms(rate, room + 0.1) > warms(rate, room)
    assert warms(0, product) == 0


def test_how_long_a_tank_has_is_a_range_with_a_pessimistic_end() -> None:
    """From 10.0 to 10.5 at 0.06 to 0.17 K/h: three to eight hours."""
    left = hours_until(10.0, 10.5, [0.06, 0.17, 0.1])
    assert (left.soonest, left.latest) == pytest.approx((0.5 / 0.17, 0.5 / 0.06))


def test_a_tank_that_cools_never_reaches_its_upper_limit() -> None:
    """Infinite on that side; downwards it is a limit like any other; there already is no time."""
    assert hours_until(10, 10.5, [-0.1, 0.0]) == Hours(math.inf, math.inf)
    assert hours_until(10, 9.5, [-0.1, 0.1]) == Hours(pytest.approx(5), math.inf)
    assert hours_until(10, 10, [0.1, -0.1]) == Hours(0, 0)


@pytest.mark.parametrize(
    ("celsius", "capacity"),
    [(0, 4219.4), (5, 4205), (10, 4195), (15, 4188.5), (20, 4184), (25, 4181), (35, 4179)],
)
def test_the_heat_capacity_of_water_that_a_mixture_takes(celsius: float, capacity: float) -> None:
    """CoolProp (IAPWS-95): the tabled J/kgK, so `WATER` serves any brewing water to 0.8 %."""
    exact = props("C", "T", max(celsius, 0.01) + 273.15, "P", 101_325, "Water")
    assert exact == pytest.approx(capacity, abs=0.7)
    assert pytest.approx(exact, rel=8e-3) == WATER


def test_a_litre_of_mash_holds_less_heat_than_a_litre_of_water() -> None:
    """3.7 kJ/LK: 1.12 kg/L at 3.3 kJ/kgK early, 1.0 kg/L at 3.7 late (computed)."""
    assert pytest.approx(1.12 * 3300, rel=0.01) == MASH_HEAT_CAPACITY
    assert pytest.approx(1.0 * 3700, rel=0.01) == MASH_HEAT_CAPACITY


def test_what_no_tank_can_do_is_refused() -> None:
    """No volume, more alcohol than any yeast makes, an oven for a room, no rate."""
    for wrong in (
        lambda: fermentation_watts(1, 0, 1),
        lambda: fermentation_watts(9, 1000, 1),
        lambda: warming_rate(1, 1000, product=10, room=99, u_value=5, liquid_share=0.85),
        lambda: hours_until(10, 11, []),
    ):
        with pytest.raises(OutOfRange):
            wrong()
