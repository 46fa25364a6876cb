"""Koji-room air against printed tables, the standard's formula, and two independent libraries."""

from __future__ import annotations

import math

import psychrolib
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from kuraban.errors import OutOfRange
from kuraban.trade.psychrometry import (
    ASPIRATED,
    NATURAL_DRAUGHT,
    STANDARD_PRESSURE,
    STILL_AIR,
    air_pressure,
    depression,
    dew_point,
    relative_humidity,
    saturation_pressure,
    vapour_pressure,
    wet_bulb,
)
from tests.trade.fluids import humid_air_props

psychrolib.SetUnitSystem(psychrolib.SI)

# dry, wet: %RH by JIS Z 8806 (A = 0.000662), the formulae of WMO-No. 8 annex 4.B and of the AMS
# Glossary, and with A = 0.0008 and 0.0012; 1013.25 hPa, computed
REFERENCE = [
    (25, 24, 92.07, 92.06, 92.02, 91.63, 90.36),
    (25, 20, 63.22, 63.20, 62.99, 61.01, 54.62),
    (26, 24, 84.77, 84.75, 84.67, 83.94, 81.53),
    (28, 26, 85.37, 85.34, 85.27, 84.63, 82.49),
    (28, 24, 71.83, 71.79, 71.64, 70.35, 66.07),
    (30, 29, 92.82, 92.80, 92.77, 92.49, 91.54),
    (30, 28, 85.92, 85.88, 85.81, 85.26, 83.35),
    (30, 25, 66.74, 66.68, 66.52, 65.10, 60.32),
    (30, 20, 39.29, 39.25, 38.94, 35.99, 26.45),
    (32, 30, 86.41, 86.37, 86.31, 85.82, 84.12),
    (32, 28, 73.84, 73.78, 73.66, 72.67, 69.26),
    (34, 33, 93.30, 93.28, 93.25, 93.04, 92.28),
    (34, 30, 74.71, 74.64, 74.53, 73.66, 70.62),
    (35, 34, 93.41, 93.38, 93.36, 93.16, 92.44),
    (35, 33, 87.07, 87.02, 86.97, 86.57, 85.13),
    (35, 32, 80.98, 80.91, 80.83, 80.23, 78.07),
    (35, 30, 69.49, 69.40, 69.27, 68.25, 64.65),
    (35, 25, 44.40, 44.29, 44.04, 41.91, 34.71),
    (36, 34, 87.27, 87.22, 87.17, 86.80, 85.44),
    (38, 36, 87.65, 87.60, 87.55, 87.23, 86.01),
    (38, 34, 76.24, 76.15, 76.05, 75.39, 72.95),
    (38, 30, 55.94, 55.81, 55.63, 54.25, 49.36),
    (40, 38, 88.00, 87.94, 87.90, 87.62, 86.52),
    (40, 35, 71.68, 71.57, 71.46, 70.73, 67.99),
    (40, 30, 48.42, 48.27, 48.08, 46.53, 41.04),
    (42, 40, 88.32, 88.26, 88.22, 87.98, 86.99),
    (45, 44, 94.27, 94.24, 94.22, 94.13, 93.70),
    (45, 40, 73.47, 73.34, 73.26, 72.74, 70.63),
    (45, 35, 51.67, 51.49, 51.33, 50.22, 45.99),
]


@pytest.mark.parametrize(("dry", "wet", "jis", "wmo", "ams", "natural", "still"), REFERENCE)
def test_humidity_at_29_points_of_the_koji_room(
    dry: int, wet: int, jis: float, wmo: float, ams: float, natural: float, still: float
) -> None:
    """The same formula to a hundredth; other ventilated formulae (WMO-No. 8, AMS Glossary) and the
    two libraries, which take the thermodynamic wet bulb, within 0.3 %RH (0.5 beyond 5 K)."""
    ours = relative_humidity(dry, wet)
    assert ours == pytest.approx(jis, abs=0.006)
    assert relative_humidity(dry, wet, NATURAL_DRAUGHT) == pytest.approx(natural, abs=0.006)
    assert relative_humidity(dry, wet, STILL_AIR) == pytest.approx(still, abs=0.006)
    ashrae = 100 * psychrolib.GetRelHumFromTWetBulb(dry, wet, STANDARD_PRESSURE)
    coolprop = 100 * humid_air_props(
        "R", "T", dry + 273.15, "B", wet + 273.15, "P", STANDARD_PRESSURE
    )
    slack = 0.3 if dry - wet <= 5 else 0.5
    assert [wmo, ams, ashrae, coolprop] == pytest.approx([ours] * 4, abs=slack)


@pytest.mark.parametrize(
    ("celsius", "sonntag"),
    [
        (20, 23.3925),
        (25, 31.6990),
        (30, 42.4703),
        (35, 56.2920),
        (40, 73.8530),
        (45, 95.9557),
    ],
)
def test_saturation_pressure_after_sonntag(celsius: float, sonntag: float) -> None:
    """Sonntag 1990, hPa (computed); ASHRAE's within 0.05 %."""
    assert saturation_pressure(celsius) / 100 == pytest.approx(sonntag, abs=6e-5)
    theirs = psychrolib.GetSatVapPres(celsius)
    assert saturation_pressure(celsius) == pytest.approx(theirs, rel=5e-4)


@pytest.mark.parametrize(("celsius", "pascal"), [(25, 3169.7), (50, 12351.3)])
def test_saturation_pressure_of_the_ashrae_handbook(celsius: float, pascal: float) -> None:
    """ASHRAE Fundamentals 2017, ch. 1, table 3, tolerance 3e-4 as in psychrolib's own tests."""
    assert saturation_pressure(celsius) == pytest.approx(pascal, rel=3e-4)


@given(st.floats(0, 60))
def test_water_is_water_in_two_formulae(celsius: float) -> None:
    """Sonntag within 0.05 % of ASHRAE's (psychrolib)."""
    exact = psychrolib.GetSatVapPres(max(celsius, 0.01))
    assert saturation_pressure(max(celsius, 0.01)) == pytest.approx(exact, rel=5e-4)


# "Relative Humidity Table" of a classroom sheet, 10-34 °C, pressure not stated; depressions below
DEPRESSIONS = [1, 2, 3, 4, 5, 6, 8, 10]
CLASSROOM = {
    25: [92, 85, 77, 71, 64, 57, 45, 34],
    28: [93, 86, 79, 72, 66, 60, 49, 38],
    30: [93, 86, 80, 73, 67, 61, 50, 40],
    32: [93, 87, 80, 74, 68, 63, 52, 42],
    34: [93, 87, 81, 75, 69, 64, 54, 44],
}


@pytest.mark.parametrize("dry", CLASSROOM)
def test_a_printed_classroom_table_is_met_to_a_point_or_two(dry: int) -> None:
    """JIS lies within 1.1 %RH to 5 K and 1.7 beyond, the table always the higher."""
    for kelvin, printed in zip(DEPRESSIONS, CLASSROOM[dry], strict=True):
        over = printed - relative_humidity(dry, dry - kelvin)
        assert -0.5 <= over <= (1.1 if kelvin <= 5 else 1.7)


BREWERY = {  # depression 1 2 3 4 5 6 8 10 12 K, by the Magnus form and A = 0.000662 (computed)
    28: [93, 85, 78, 72, 65, 59, 48, 37, 27],
    30: [93, 86, 79, 73, 67, 61, 50, 39, 30],
    32: [93, 86, 80, 74, 68, 62, 51, 41, 32],
    35: [93, 87, 81, 75, 69, 64, 54, 44, 36],
    38: [94, 88, 82, 76, 71, 66, 56, 47, 39],
    40: [94, 88, 82, 77, 72, 67, 57, 48, 40],
}


@pytest.mark.parametrize("dry", BREWERY)
def test_the_koji_masters_table_of_wet_bulb_depressions(dry: int) -> None:
    """Whole percents, so within 0.6; and back from humidity to depression within 0.15 K."""
    for kelvin, percent in zip([*DEPRESSIONS, 12], BREWERY[dry], strict=True):
        assert relative_humidity(dry, dry - kelvin) == pytest.approx(percent, abs=0.6)
        assert depression(dry, percent) == pytest.approx(kelvin, abs=0.15)


def test_thirty_and_twentyfive_is_two_thirds() -> None:
    """66.8 % in brewing lore (common practice)."""
    assert relative_humidity(30, 25) == pytest.approx(66.8, abs=0.2)


def test_still_air_reads_five_percent_less_at_the_same_depression() -> None:
    """35/30 °C: the coefficient matters most, 4.8 %RH (computed)."""
    assert relative_humidity(35, 30) - relative_humidity(35, 30, STILL_AIR) == pytest.approx(
        4.8, abs=0.05
    )


@pytest.mark.parametrize(
    ("dry", "wet", "by_wet", "by_dry"),
    [(28, 26, 0.70, -0.67), (32, 30, 0.65, -0.63), (35, 33, 0.62, -0.60), (38, 36, 0.59, -0.57)],
)
def test_a_tenth_of_a_degree_is_two_thirds_of_a_percent(
    dry: float, wet: float, by_wet: float, by_dry: float
) -> None:
    """Sensitivities (computed), and ±0.5 K on both probes makes ±4.3 %RH at 35/33."""
    here = relative_humidity(dry, wet)
    assert relative_humidity(dry, wet + 0.1) - here == pytest.approx(by_wet, abs=0.012)
    assert relative_humidity(dry + 0.1, wet) - here == pytest.approx(by_dry, abs=0.012)
    if dry == 35:
        assert math.hypot(5 * by_wet, 5 * by_dry) == pytest.approx(4.3, abs=0.05)


@pytest.mark.parametrize(("pascal", "more"), [(95_000, 0.22), (90_000, 0.40)])
def test_air_pressure_matters_little(pascal: float, more: float) -> None:
    """35/32 °C at 950 and 900 hPa instead of 1013 (computed)."""
    ours = relative_humidity(35, 32, ASPIRATED, pascal) - relative_humidity(35, 32)
    assert ours == pytest.approx(more, abs=0.01)


@pytest.mark.parametrize(
    ("dry", "humidity", "wet", "dew"),
    [
        (30, 90, 28.59, 28.18),
        (32, 70, 27.32, 25.84),
        (35, 80, 31.81, 31.03),
        (35, 90, 33.46, 33.11),
        (37.5, 50, 28.22, 25.30),
        (38, 70, 32.80, 31.56),
        (38, 95, 37.20, 37.06),
    ],
)
def test_wet_bulb_and_dew_point_from_humidity(
    dry: float, humidity: float, wet: float, dew: float
) -> None:
    """psychrolib and CoolProp (computed): the wick within 0.12 K of the thermodynamic wet bulb,
    the dew point within 0.01 K."""
    assert wet_bulb(dry, humidity) == pytest.approx(wet, abs=0.12)
    assert dew_point(dry, humidity) == pytest.approx(dew, abs=0.01)
    assert psychrolib.GetTWetBulbFromRelHum(dry, humidity / 100, STANDARD_PRESSURE) == (
        pytest.approx(wet, abs=0.006)
    )


def test_fao_example_of_vapour_pressure() -> None:
    """FAO Irrigation Paper 56, example 4 (from memory): 25.6/19.5 °C at 87.9 kPa, 1.91 kPa."""
    assert saturation_pressure(19.5) == pytest.approx(2267, abs=2)
    assert pytest.approx(58.19, abs=0.005) == ASPIRATED * 87_900
    assert vapour_pressure(25.6, 19.5, ASPIRATED, 87_900) == pytest.approx(1911.9, abs=1.5)


def test_the_reference_psychrometer_of_fan() -> None:
    """Fan 1987 as in MetPy psychrometric_vapor_pressure_wet: A = 0.000621, 958 hPa, 25/12 °C gives
    627.52 Pa and 19.84 %; A = 0.000662 gives 577 Pa and 18.2 % (computed)."""
    assert vapour_pressure(25, 12, 0.000621, 95_800) == pytest.approx(627.52, abs=2)
    assert relative_humidity(25, 12, 0.000621, 95_800) == pytest.approx(19.84, abs=0.1)
    assert vapour_pressure(25, 12, ASPIRATED, 95_800) == pytest.approx(577, abs=2)


def test_ashraes_first_example_of_humid_air() -> None:
    """ASHRAE Fundamentals 2017 ch. 1, example 1: 40/20 °C, dew 7 °C, RH 14 %. A wick
    differs from a thermodynamic wet bulb by 0.7 %RH at such a depression."""
    humidity = relative_humidity(40, 20)
    assert humidity == pytest.approx(14, abs=0.8)
    assert dew_point(40, 13.98) == pytest.approx(7.43, abs=0.05)


@given(st.floats(15, 60), st.floats(20, 100), st.sampled_from([ASPIRATED, NATURAL_DRAUGHT]))
def test_humidity_to_wet_bulb_and_back_is_a_round_trip(
    dry: float, humidity: float, coefficient: float
) -> None:
    """To a millionth of a percent, wherever the wick does not freeze."""
    assume(humidity > 35 or dry > 25)
    wet = wet_bulb(dry, humidity, coefficient)
    assume(wet >= 0)
    back = relative_humidity(dry, min(wet, dry), coefficient)
    assert back == pytest.approx(humidity, abs=1e-5)
    assert depression(dry, humidity, coefficient) == dry - wet


@given(st.floats(20, 45), st.floats(0, 6), st.floats(0.01, 3))
def test_a_greater_depression_is_drier_air(dry: float, kelvin: float, more: float) -> None:
    """Monotone, and saturated at none."""
    assert relative_humidity(dry, dry - kelvin - more) < relative_humidity(dry, dry - kelvin)
    assert relative_humidity(dry, dry) == pytest.approx(100)


@given(st.floats(10, 50), st.floats(10, 99))
def test_dew_point_lies_below_wet_bulb_below_dry(dry: float, humidity: float) -> None:
    """The order of the three temperatures of moist air."""
    assume(humidity > 40 or dry > 25)
    assert dew_point(dry, humidity) < wet_bulb(dry, humidity) < dry


def test_what_no_psychrometer_can_read_is_refused() -> None:
    """A wet bulb above the dry, too dry for dry air, frozen, or beyond the instrument."""
    with pytest.raises(OutOfRange, match="wet bulb beside this dry bulb"):
        relative_humidity(30, 30.1)
    with pytest.raises(OutOfRange, match=r"lower than dry air can make it; at least 10\.7 °C"):
        relative_humidity(30, 5)
    with pytest.raises(OutOfRange, match="would freeze"):
        wet_bulb(5, 5)
    for wrong in (
        lambda: relative_humidity(30, 25, 0.01),
        lambda: relative_humidity(30, 25, ASPIRATED, 1013.25),
        lambda: relative_humidity(math.nan, 25),
        lambda: wet_bulb(30, 101),
        lambda: dew_point(30, 0),
        lambda: saturation_pressure(150),
    ):
        with pytest.raises(OutOfRange):
            wrong()


@pytest.mark.parametrize(
    ("metres", "pascal"), [(0, 101_325), (500, 95_461), (1000, 89_876), (2000, 79_501)]
)
def test_air_is_thinner_on_the_mountain(metres: float, pascal: float) -> None:
    """The table of the standard atmosphere."""
    # ICAO Doc 7488, ISO 2533
    assert air_pressure(metres) == pytest.approx(pascal, rel=2e-4)


def test_a_brewery_in_the_sky_is_refused() -> None:
    with pytest.raises(OutOfRange, match="altitude"):
        air_pressure(9000)
