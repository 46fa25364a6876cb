"""Thermometers against their standards, and the lies of a digital probe."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kuraban.errors import OutOfRange
from kuraban.trade.sensors import (
    PtClass,
    bus_error,
    crc8,
    ds18b20_accuracy,
    ds18b20_celsius,
    ice_point_offset,
    pt100_celsius,
    pt100_ohms,
    pt100_tolerance,
    scratchpad_believable,
)

# IEC 60751:2008, table 1 (from memory)
IEC_60751 = {
    -200: 18.52,
    -100: 60.26,
    -50: 80.31,
    -20: 92.16,
    -10: 96.09,
    -5: 98.04,
    0: 100.00,
    4: 101.56,
    5: 101.95,
    10: 103.90,
    15: 105.85,
    18: 107.02,
    20: 107.79,
    25: 109.73,
    30: 111.67,
    35: 113.61,
    40: 115.54,
    45: 117.47,
    50: 119.40,
    60: 123.24,
    80: 130.90,
    100: 138.51,
}


@pytest.mark.parametrize(("celsius", "ohms"), IEC_60751.items())
def test_resistance_is_the_printed_table(celsius: float, ohms: float) -> None:
    """IEC 60751, to the rounding of the table, and back to 0.014 K."""
    assert pt100_ohms(celsius) == pytest.approx(ohms, abs=0.0051)
    assert pt100_celsius(ohms) == pytest.approx(celsius, abs=0.014)


@pytest.mark.parametrize(("celsius", "slope"), [(0, 0.3908), (20, 0.3885), (35, 0.3868)])
def test_a_degree_is_four_tenths_of_an_ohm(celsius: float, slope: float) -> None:
    """IEC 60751 (computed); so an ohm of two-wire lead reads 2.56 K too warm."""
    rise = (pt100_ohms(celsius + 0.01) - pt100_ohms(celsius)) / 0.01
    assert rise == pytest.approx(slope, abs=6e-5)
    assert pt100_celsius(101.0) == pytest.approx(2.56, abs=0.005)


@given(st.floats(-200, 850))
def test_resistance_and_back_is_a_round_trip(celsius: float) -> None:
    """Over the whole range of the standard, to a millionth of a degree."""
    assert pt100_celsius(pt100_ohms(celsius)) == pytest.approx(celsius, abs=1e-6)


@pytest.mark.parametrize(
    ("grade", "at_0", "at_20", "at_40", "at_100"),
    [
        (PtClass.AA, 0.10, 0.134, 0.168, 0.27),
        (PtClass.A, 0.15, 0.19, 0.23, 0.35),
        (PtClass.B, 0.30, 0.40, 0.50, 0.80),
        (PtClass.C, 0.60, 0.80, 1.00, 1.60),
    ],
)
def test_tolerance_classes(
    grade: PtClass, at_0: float, at_20: float, at_40: float, at_100: float
) -> None:
    """IEC 60751:2008, table 2 (AA, A and B published; C from memory)."""
    ours = [pt100_tolerance(t, grade) for t in (0, 20, 40, 100)]
    assert ours == pytest.approx([at_0, at_20, at_40, at_100])


def test_class_b_at_cellar_temperature_is_wider_than_a_ginjo_band() -> None:
    """0.35 K at 10 °C (IEC 60751), 1.3 K at 200 °C; class A 0.17 K."""
    assert pt100_tolerance(10, PtClass.B) == pytest.approx(0.35)
    assert pt100_tolerance(10, PtClass.A) == pytest.approx(0.17)
    assert pt100_tolerance(200, PtClass.B) == pytest.approx(1.3)


@pytest.mark.parametrize(
    ("grade", "wire", "film"),
    [
        ("AA", (-50, 250), (0, 150)),
        ("A", (-100, 450), (-30, 300)),
        ("B", (-196, 600), (-50, 500)),
        ("C", (-196, 600), (-50, 600)),
    ],
)
def test_a_class_holds_only_in_its_range(
    grade: str, wire: tuple[int, int], film: tuple[int, int]
) -> None:
    """IEC 60751:2008, tables 2 and 3 (from memory)."""
    for ends, is_film in ((wire, False), (film, True)):
        for end, beyond in zip(ends, (ends[0] - 1, ends[1] + 1), strict=True):
            assert pt100_tolerance(end, PtClass(grade), film=is_film) > 0
            with pytest.raises(OutOfRange, match=f"class {grade}"):
                pt100_tolerance(beyond, PtClass(grade), film=is_film)


@pytest.mark.parametrize(
    ("code", "celsius"),
    [
        (0x07D0, 125),
        (0x0550, 85),
        (0x0191, 25.0625),
        (0x00A2, 10.125),
        (0x0008, 0.5),
        (0x0000, 0),
        (0xFFF8, -0.5),
        (0xFF5E, -10.125),
        (0xFE6F, -25.0625),
        (0xFC90, -55),
        (0x07FF, 127.9375),
    ],
)
def test_code_words_of_the_digital_probe(code: int, celsius: float) -> None:
    """DS18B20 data sheet 19-7487, table 1 (from memory); 0x07FF computed."""
    assert ds18b20_celsius(code) == celsius


@pytest.mark.parametrize(
    ("celsius", "limit"),
    [
        (-55, 2),
        (-31, 2),
        (-30, 1),
        (-11, 1),
        (-10, 0.5),
        (8, 0.5),
        (85, 0.5),
        (86, 1),
        (100, 1),
        (100.5, 2),
        (125, 2),
    ],
)
def test_accuracy_of_the_digital_probe(celsius: float, limit: float) -> None:
    """DS18B20 data sheet 19-7487 (from memory): ±0.5, 1 and 2 K."""
    assert ds18b20_accuracy(celsius) == limit


def test_check_sums_of_the_application_note() -> None:
    """Maxim application note 27 (from memory): 02 1C B8 01 00 00 00 gives A2; the second vector,
    a scratchpad at 85.0, and eight FF computed."""
    assert crc8(bytes.fromhex("021CB801000000")) == 0xA2
    assert crc8(bytes.fromhex("50054B467FFF0C10")) == 0x1C
    assert crc8(b"\xff" * 8) == 0xC9


def test_a_dead_line_passes_the_check_sum_and_is_not_believed() -> None:
    """Nine zeros read as a valid 0.0 °C; nine FF fail anyhow."""
    assert crc8(bytes(9)) == 0
    assert not scratchpad_believable(bytes(9))
    assert not scratchpad_believable(b"\xff" * 9)
    assert not scratchpad_believable(bytes.fromhex("50054B467FFF0C10"))
    assert scratchpad_believable(bytes.fromhex("50054B467FFF0C101C"))


@given(st.binary(min_size=8, max_size=8), st.integers(0, 71))
def test_no_single_wrong_bit_passes(payload: bytes, bit: int) -> None:
    """What the check sum is for."""
    whole = bytearray(payload + bytes([crc8(payload)]))
    assert crc8(whole) == 0
    whole[bit // 8] ^= 1 << bit % 8
    assert not scratchpad_believable(bytes(whole))


@pytest.mark.parametrize(
    ("celsius", "before", "meaning"),
    [
        (-127.0, -126.5, "disconnected"),
        (127.9375, 85.0, "too little power"),
        (127.94, None, "too little power"),
        (85.0, 10.4, "power-up value"),
        (85.0, None, "power-up value"),
        (85.0, 84.9, None),
        (0.0, 10.4, "dead line"),
        (0.0, 0.0625, None),
        (0.0, 5.0, "dead line"),
        (0.0, 4.9375, None),
        (0.0, None, None),
        (10.4, 3.0, None),
        (85.0625, 10.4, None),
        (60.0, 10.4, None),
    ],
)
def test_error_codes_are_told_from_temperatures(
    celsius: float, before: float | None, meaning: str | None
) -> None:
    """Linux w1_therm documentation: 85.00 power-up, 127.94 insufficient power; -127 is a library's.
    A hot cask may pass 85 and an ice bath reach 0, but neither jumps there."""
    assert bus_error(celsius, before) == meaning


def test_an_ice_bath_gives_offset_and_what_it_is_worth() -> None:
    """A probe that reads 0.3 high: the step of the last bit and the bath leave ±0.12 K (GUM)."""
    found = ice_point_offset([0.3125, 0.3125, 0.25, 0.3125, 0.3125, 0.375])
    assert found.offset == -0.3125
    assert found.uncertainty == pytest.approx(2 * math.hypot(0.1 / 3**0.5, 0.0625 / 12**0.5))
    assert found.readings == 6


def test_the_scatter_of_the_readings_counts_too() -> None:
    """A restless probe: 1.2533 · MAD · 1.4826 / √n, the standard error of a median (GUM)."""
    found = ice_point_offset([-0.2, -0.1, 0.0, 0.1, 0.2], bath=1e-9, resolution=0.0)
    assert found.uncertainty == pytest.approx(2 * 1.25331 * 1.482602 * 0.1 / 5**0.5, rel=1e-4)


def test_distilled_ice_and_a_fine_probe_are_worth_more() -> None:
    """0.02 K of bath and 0.01 K of step: below ±0.05 K, scatter included."""
    readings = [-0.11, -0.10, -0.12, -0.11, -0.10, -0.13, -0.11, -0.12]
    assert ice_point_offset(readings, bath=0.02, resolution=0.01).uncertainty < 0.05


@given(st.lists(st.floats(-2, 2), min_size=5, max_size=30), st.floats(-0.9, 0.9))
def test_an_offset_put_on_a_probe_is_found_again(values: list[float], shift: float) -> None:
    """Shift all readings, and the offset shifts the other way; its worth stays."""
    plain, moved = ice_point_offset(values), ice_point_offset([x + shift for x in values])
    assert moved.offset == pytest.approx(plain.offset - shift, abs=1e-12)
    assert moved.uncertainty == pytest.approx(plain.uncertainty, abs=1e-9)


def test_tap_water_is_no_ice_bath() -> None:
    """Readings of 8 °C, too few readings, a bath of 2 K, codes beyond 16 bits: refused."""
    with pytest.raises(OutOfRange, match="an ice bath reads within 3 of 0"):
        ice_point_offset([8.0] * 6)
    for wrong in (
        lambda: ice_point_offset([3.1] * 6),
        lambda: ice_point_offset([0.1] * 4),
        lambda: ice_point_offset([0.1] * 5, bath=2),
        lambda: ds18b20_celsius(0x10000),
        lambda: ds18b20_accuracy(126),
        lambda: pt100_ohms(-201),
        lambda: pt100_celsius(10),
        lambda: bus_error(85.0, 10.0, jump=0),
    ):
        with pytest.raises(OutOfRange):
            wrong()
