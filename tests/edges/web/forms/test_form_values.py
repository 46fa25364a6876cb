"""What people type is read kindly."""

from __future__ import annotations

from zoneinfo import ZoneInfo

import pytest

from kuraban.core.units import parse_time
from kuraban.edges.web.forms.form_values import moment, number

TOKYO = ZoneInfo("Asia/Tokyo")


@pytest.mark.parametrize("text", ["9.5", " 9,5 ", "９.５", "9.5℃", "9.5 °C", "9．5"])
def test_a_temperature_is_read_however_it_is_typed(text: str) -> None:
    """Full-width, with a comma, with its unit."""
    assert number(text) == 9.5


@pytest.mark.parametrize("text", ["−30", "-30", "－30"])
def test_a_minus_is_a_minus(text: str) -> None:
    assert number(text) == -30


def test_an_empty_field_is_nothing() -> None:
    assert number("  ") is None
    assert moment("", TOKYO) is None


@pytest.mark.parametrize("text", ["warm", "9.5.1", "nan", "inf", "1,400"])
def test_what_is_no_number_is_told(text: str) -> None:
    with pytest.raises(ValueError):
        number(text)


def test_a_moment_is_of_the_house_clock() -> None:
    assert moment("2026-02-04T03:10", TOKYO) == parse_time("2026-02-04T03:10:00+09:00")
    assert moment("2026-02-04 03:10", TOKYO) == parse_time("2026-02-04T03:10:00+09:00")
    with pytest.raises(ValueError):
        moment("yesterday", TOKYO)
