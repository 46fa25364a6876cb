"""Heat made and heat lost, against textbooks, tables and a library of water properties."""

from __future__ import annotations

import math

import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import curve_fit

from kuraban.errors import OutOfRange
from kuraban.trade.heat import (
    BARE_STEEL,
    ETHANOL_DENSITY,
    ETHANOL_HEAT,
    INSULATED,
    LIQUID_SHARE,
    MASH_HEAT_CAPACITY,
    RESPIRATION_HEAT,
    SUGAR_HEAT,
    Hours,
    approach,
    cooling_duty,
    fermentation_watts,
    fit_approach,
    flow_for,
    hours_until,
    ramp_lag,
    sugar_watts,
    tank_surface,
    time_constant,
    time_constant_between,
    time_to_reach,
    warming_rate,
)


@pytest.mark.parametrize(
    ("taus", "percent"), [(1, 63.21), (2, 86.47), (3, 95.02), (4, 98.17), (5, 99.33)]
)
def test_a_step_is_two_thirds_done_after_one_time_constant(taus: int, percent: float) -> None:
    """First-order step response (computed)."""
    assert approach(0, 100, 30, 30 * taus) == pytest.approx(percent, abs=0.006)


def test_ninety_percent_takes_three_times_as_long_as_half() -> None:
    """2.303 and 0.693 time constants, ratio 3.32, if the probe is of first order."""
    ninety, half = time_to_reach(0, 100, 90, 1), time_to_reach(0, 100, 50, 1)
    assert (ninety, half, ninety / half) == pytest.approx((2.303, 0.693, 3.32), abs=2e-3)


def test_incroperas_thermocouple() -> None:
    """Incropera, Fundamentals of Heat and Mass Transfer, Ex. 5.1: h 400, k 20, c 400, rho 8500 and
    a time constant of 1 s give D = 7.06e-4 m; 25 °C into gas of 200 °C reaches 199 °C in 5.2 s."""
    across = 6 * 400 * 1.0 / (8500 * 400)
    assert across == pytest.approx(7.06e-4, rel=1e-3)
    mass = 8500 * math.pi * across**3 / 6
    tau = time_constant(mass * 400, 400, math.pi * across**2)
    assert tau == pytest.approx(1.0)
    assert time_to_reach(25, 200, 199, tau) == pytest.approx(5.165, abs=5e-4)


def test_cengels_thermocouple() -> None:
    """Cengel, Heat and Mass Transfer, Ex. 4-1: D 1 mm, rho 8500, c 320, h 210: 99 % in 10 s."""
    tau = 8500 * 320 * 1e-3 / (6 * 210)
    assert 1 / tau == pytest.approx(0.4632, abs=5e-5)
    assert time_to_reach(1, 0, 0.01, tau) == pytest.approx(9.94, abs=0.005)


def test_lienhards_solder_bead_is_within_five_percent_in_three_time_constants() -> None:
    """Lienhard, A Heat Transfer Textbook: time constant 1.116 s."""
    assert 1 - approach(0, 1, 1.116, 3 * 1.116) == pytest.approx(0.05, abs=3e-4)


@pytest.mark.parametrize(("tau", "behind"), [(30, 0.25), (60, 0.5), (120, 1.0), (300, 2.5)])
def test_a_probe_trails_a_climb_by_its_time_constant(tau: float, behind: float) -> None:
    """0.5 K/min (computed)."""
    assert ramp_lag(0.5 / 60, tau) == pytest.approx(behind)


@given(
    st.floats(0, 30), st.floats(0, 30), st.floats(60, 1e5), st.floats(0.02, 3), st.floats(0.02, 3)
)
def test_two_waits_are_one_long_wait(
    start: float, room: float, tau: float, first: float, second: float
) -> None:
    """Newton's law has no memory."""
    once = approach(start, room, tau, (first + second) * tau)
    midway = approach(start, room, tau, first * tau)
    assert approach(midway, room, tau, second * tau) == pytest.approx(once)


@given(st.floats(0, 30), st.floats(1, 30), st.floats(60, 1e5), st.floats(0.05, 3))
def test_time_temperature_and_time_constant_are_one_law(
    start: float, excess: float, tau: float, waits: float
) -> None:
    """Each of the three from the other two."""
    later = approach(start, start + excess, tau, waits * tau)
    assert time_to_reach(start, start + excess, later, tau) == pytest.approx(waits * tau)
    found = time_constant_between(start, later, start + excess, waits * tau)
    assert found == pytest.approx(tau)


@pytest.mark.parametrize("seed", range(4))
def test_a_noisy_warm_up_is_fitted_as_scipy_fits_it(seed: int) -> None:
    """scipy.optimize.curve_fit on a cellar tank after its cooler stopped, noise 0.05 K."""
    rng = np.random.default_rng(seed)
    hours = np.linspace(0, 20, 60)
    values = 14 - 6 * np.exp(-hours / 8) + rng.normal(0, 0.05, 60)
    ours = fit_approach((hours * 3600).tolist(), values.tolist())
    (end, span, tau), _ = curve_fit(
        lambda t, a, b, c: a - b * np.exp(-t / c), hours, values, p0=(15, 5, 10)
    )
    assert (ours.end, ours.start, ours.tau / 3600) == pytest.approx(
        (end, end - span, tau), rel=1e-4
    )
    assert ours.rmse == pytest.approx(0.05, rel=0.3)


@settings(max_examples=50, deadline=None)
@given(st.floats(-5, 30), st.floats(1, 30), st.floats(0.2, 5), st.floats(1e3, 1e6))
def test_a_clean_approach_is_found_exactly(
    start: float, span: float, tau: float, scale: float
) -> None:
    """In any unit of time, at any first moment."""
    times = [1.7e9 + scale * 0.1 * i for i in range(40)]
    values = [approach(start, start - span, tau * scale, t - times[0]) for t in times]
    fitted = fit_approach(times, values)
    assert (fitted.start, fitted.end) == pytest.approx((start, start - span), abs=1e-3)
    assert fitted.tau == pytest.approx(tau * scale, rel=1e-3)


def test_heat_of_fermentation_per_mol_kilogram_and_litre() -> None:
    """24 kcal/mol (Colombié, Malherbe and Sablayrolles 2007, Food Control 18:953): 557 kJ per kg of
    sugar; with 100 kJ/mol 0.555 MJ and, per kg of ethanol, 1.085 MJ; 8.6 kJ for 1 % in a litre."""
    assert pytest.approx(557e3, rel=1e-3) == SUGAR_HEAT
    assert pytest.approx(0.555e6, rel=5e-3) == SUGAR_HEAT
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
    assert pytest.approx(dissolved * 1000 / 0.180156, rel=0.02) == SUGAR_HEAT
    assert pytest.approx(586e3, rel=0.06) == SUGAR_HEAT


def test_a_cubic_metre_makes_a_hundred_watts_for_a_percent_a_day() -> None:
    """1 % ABV a day in 1 m³ of liquid (computed)."""
    assert fermentation_watts(1.0, 1000) == pytest.approx(100, rel=0.02)


def test_a_tonne_of_rice_makes_88_kilowatt_hours() -> None:
    """372 L of alcohol a tonne (national mean, junmai): 318 MJ, 184 W over 20 days, 115 W over 32
    (computed)."""
    total = 372 * ETHANOL_DENSITY * ETHANOL_HEAT
    assert total == pytest.approx(318e6, rel=0.01)
    assert total / 3.6e6 == pytest.approx(88, rel=0.01)
    for days, watts in ((20, 184), (32, 115)):
        ours = fermentation_watts(100 * 372 / days / 10_000, 10_000)
        assert ours == pytest.approx(watts, rel=0.01)


def test_a_thousand_litres_of_wort_losing_two_plato_a_day() -> None:
    """SG 1.048: 20.96 kg of extract a day, 586 kJ/kg (Kunze, from memory), 142 W, 0.122 K/h."""
    watts = sugar_watts(1048 * 0.02, 586e3)
    assert watts == pytest.approx(142, abs=0.5)
    assert watts * 3600 / (1048 * 4000) == pytest.approx(0.122, abs=5e-4)


@pytest.mark.parametrize(("heat", "rise"), [(563e3, 1.48), (586e3, 1.54), (740e3, 1.95)])
def test_a_percent_of_sugar_warms_by_a_degree_and_a_half(heat: float, rise: float) -> None:
    """Adiabatic, 3.8 kJ/kgK (computed); literature says about 1.3 K a degree Brix."""
    assert sugar_watts(0.01, heat) * 86_400 / 3800 == pytest.approx(rise, abs=0.006)


def test_koji_left_alone_gains_degrees_in_minutes() -> None:
    """Five percent of dry matter burnt in 45 h: 4.8 W/kg and at most 6.7 K/h at 2.58 kJ/kgK
    (2803 kJ/mol textbook, from memory; loss common practice)."""
    watts = sugar_watts(0.05 / 45 * 24, RESPIRATION_HEAT)
    assert watts == pytest.approx(4.8, abs=0.01)
    assert watts * 3600 / 2580 == pytest.approx(6.7, abs=0.02)


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
    ours = warming_rate(rate, 1400, product=10, room=10, u_value=0)
    assert ours == pytest.approx(per_hour, abs=0.007)
    assert hours_until(10, 10.5, [ours]).soonest == pytest.approx(to_half, rel=0.04)
    assert hours_until(10, 11.0, [ours]).soonest == pytest.approx(to_one, rel=0.04)
    assert 12 * ours == pytest.approx(after_12, rel=0.04)


@pytest.mark.parametrize(("share", "rise"), [(0.80, 1.8), (0.85, 2.0), (0.90, 2.1)])
def test_a_percent_of_alcohol_warms_a_mash_by_two_degrees(share: float, rise: float) -> None:
    """Adiabatic, for liquid shares of 0.80 to 0.90 (computed)."""
    ours = 24 * warming_rate(1.0, 1000, product=10, room=10, u_value=0, liquid_share=share)
    assert ours == pytest.approx(rise, abs=0.07)
    assert LIQUID_SHARE == 0.85


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
    ours = [warming_rate(0, litres, product=10, room=20, u_value=u) for u in BARE_STEEL]
    assert ours == pytest.approx([slow, fast], rel=0.09)
    covered = warming_rate(0, litres, product=10, room=20, u_value=sum(INSULATED) / 2)
    assert ours[0] / covered == pytest.approx(5)
    assert ours[1] / covered == pytest.approx(8)


@pytest.mark.parametrize(("per_day", "low", "high"), [(15 / 28, 0.8, 1.2), (15 / 10, 2.3, 3.2)])
def test_cooling_need_of_wine_is_of_the_same_size(per_day: float, low: float, high: float) -> None:
    """A wine guide: 0.8 to 1 K/day for a ferment of 28 days, 2.3 to 2.8 for 10 days; ours, without
    the fifth that leaves with gas and wall, may be that much more."""
    assert low < 24 * warming_rate(per_day, 1000, product=18, room=18, u_value=0) < high


def test_a_tank_as_high_as_wide_has_the_least_surface() -> None:
    """1 m across and 1 m high: 785 L and 4.71 m²."""
    assert tank_surface(1000 * math.pi / 4) == pytest.approx(1.5 * math.pi)


@given(st.floats(0, 3), st.floats(100, 20_000), st.floats(0, 20), st.floats(0, 20))
def test_a_warmer_room_or_a_livelier_mash_warms_faster(
    rate: float, litres: float, product: float, room: float
) -> None:
    """Monotone; without either, nothing moves."""

    def warms(alcohol: float, air: float) -> float:
        return warming_rate(alcohol, litres, product=product, room=air, u_value=6)

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


def test_singh_and_heldmans_heat_exchanger() -> None:
    """Introduction to Food Engineering (from memory): 0.5 kg/s, 4.0 kJ/kgK, 20 to 60 °C is 80 kW;
    water of 90 °C, 1 kg/s, leaves at 70.9 °C."""
    duty = cooling_duty(0.5, 4000, 40)
    assert duty == pytest.approx(80e3)
    assert 90 - duty / cooling_duty(1, 4180, 1) == pytest.approx(70.86, abs=0.005)


def test_a_milk_heater_at_its_effectiveness() -> None:
    """1.2 kg/s of water, 57.5 K at most, effectiveness 0.572: 165.0 kW (computed; the printed
    164.41 kW is a slip)."""
    most = cooling_duty(1.2, 4180, 57.5)
    assert (most / 1e3, 0.572 * most / 1e3) == pytest.approx((288.4, 165.0), abs=0.05)


def test_chilled_water_that_returns_too_cold_carries_half_its_duty() -> None:
    """95 L/s, 6 to 14 °C by design, 9.8 °C measured, 4.186 kJ/kgK (a published case of low
    difference): 3181 and 1511 kW; 45.1 L/s would do at 8 K."""
    design, actual = cooling_duty(95, 4186, 8), cooling_duty(95, 4186, 3.8)
    assert (design / 1e3, actual / 1e3) == pytest.approx((3181, 1511), abs=0.6)
    assert flow_for(actual, 4186, 8) == pytest.approx(45.1, abs=0.05)


@pytest.mark.parametrize(
    ("celsius", "capacity"),
    [(0, 4219.4), (5, 4205), (10, 4195), (15, 4188.5), (20, 4184), (25, 4181), (35, 4179)],
)
def test_the_heat_capacity_of_water_that_a_duty_takes(celsius: float, capacity: float) -> None:
    """CoolProp (IAPWS-95): the tabled J/kgK, so 4186 serves any chilled-water line to 0.8 %."""
    exact = PropsSI("C", "T", max(celsius, 0.01) + 273.15, "P", 101_325, "Water")
    assert exact == pytest.approx(capacity, abs=0.7)
    assert cooling_duty(1, 4186, 5) == pytest.approx(5 * exact, rel=8e-3)


def test_a_litre_of_mash_holds_less_heat_than_a_litre_of_water() -> None:
    """3.7 kJ/LK: 1.12 kg/L at 3.3 kJ/kgK early, 1.0 kg/L at 3.7 late (computed)."""
    assert pytest.approx(1.12 * 3300, rel=0.01) == MASH_HEAT_CAPACITY
    assert pytest.approx(1.0 * 3700, rel=0.01) == MASH_HEAT_CAPACITY


def test_what_no_tank_can_do_is_refused() -> None:
    """A target off the way, time running backwards, a flat line, a negative mass."""
    with pytest.raises(OutOfRange, match="is not on the way from 8 to 14"):
        time_to_reach(8, 14, 15, 3600)
    for wrong in (
        lambda: time_to_reach(8, 14, 14, 3600),
        lambda: time_to_reach(8, 8, 8, 3600),
        lambda: time_to_reach(8, 14, 7, 3600),
        lambda: approach(8, 14, 0, 10),
        lambda: approach(8, 14, 10, -1),
        lambda: time_constant(1, 1, 0),
        lambda: time_constant_between(8, 7, 14, 60),
        lambda: time_constant_between(8, 8, 8, 60),
        lambda: fit_approach([0, 1, 2], [1, 2, 3]),
        lambda: fit_approach([0, 1, 1, 2], [1, 2, 3, 4]),
        lambda: fit_approach([0, 1, 2, 3], [8, 8, 8, 8]),
        lambda: sugar_watts(-1),
        lambda: fermentation_watts(1, 0),
        lambda: fermentation_watts(9, 1000),
        lambda: warming_rate(1, 1000, product=10, room=99, u_value=5),
        lambda: hours_until(10, 11, []),
        lambda: cooling_duty(-1, 4186, 5),
        lambda: flow_for(100, 4186, 0),
        lambda: ramp_lag(1, -1),
    ):
        with pytest.raises(OutOfRange):
            wrong()
