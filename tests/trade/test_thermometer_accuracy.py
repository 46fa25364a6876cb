"""Thermometers against their standards, and the lies of a digital probe."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kuraban.errors import OutOfRange
from kuraban.trade.thermometer_accuracy import (
    ICE_ERROR,
    bus_error,
    ice_point_offset,
)


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


def test_a_good_probe_may_be_half_a_degree_off() -> None:
    """DS18B20 data sheet 19-7487 (from memory); a Pt100 of class B 0.3 (IEC 60751, from memory)."""
    assert ICE_ERROR == 0.5


def test_tap_water_is_no_ice_bath() -> None:
    """Readings of 8 °C, too few readings, a bath of 2 K: refused."""
    with pytest.raises(OutOfRange, match="an ice bath reads within 3 of 0"):
        ice_point_offset([8.0] * 6)
    for wrong in (
        lambda: ice_point_offset([3.01] * 6),
        lambda: ice_point_offset([0.1] * 4),
        lambda: ice_point_offset([0.1] * 5, bath=2),
    ):
        with pytest.raises(OutOfRange):
            wrong()
