"""The arithmetic refuses what cannot be, and says what could."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kuraban.errors import OutOfRange
from kuraban.trade.limits import above, all_finite, within


@given(st.floats(-40, 110))
def test_a_possible_temperature_passes_unchanged(celsius: float) -> None:
    """Both ends of the range belong to it."""
    assert within(celsius, -40, 110, what="temperature") == celsius


@pytest.mark.parametrize("wrong", [-40.1, 110.1, math.nan, math.inf, -math.inf])
def test_an_impossible_temperature_is_named_with_the_range_that_would_be_right(
    wrong: float,
) -> None:
    """NaN lies in no range, and infinity is no reading."""
    with pytest.raises(OutOfRange, match=r"temperature: .* °C is not possible; -40 to 110 °C"):
        within(wrong, -40, 110, what="temperature", unit="°C")


def test_an_open_side_is_told_as_at_least_or_at_most() -> None:
    """No "inf" in a message to a brewer."""
    with pytest.raises(OutOfRange, match="-1 kg is not possible; at least 0 kg"):
        within(-1, 0, math.inf, what="rice", unit="kg")
    with pytest.raises(OutOfRange, match="3 is not possible; at most 2"):
        within(3, -math.inf, 2, what="depth")
    with pytest.raises(OutOfRange, match="inf is not possible"):
        within(math.inf, -math.inf, math.inf, what="reading")


@pytest.mark.parametrize("wrong", [0.0, -1.0, math.nan, math.inf])
def test_a_mass_of_nothing_is_refused_where_something_must_go_in(wrong: float) -> None:
    """`above` is a strict limit."""
    with pytest.raises(OutOfRange, match="more than 0 kg"):
        above(wrong, 0, what="rice", unit="kg")
    assert above(1e-9, 0, what="rice") == 1e-9


def test_too_few_readings_and_readings_that_are_none_are_told_apart() -> None:
    """The message says which it was."""
    assert all_finite([1.0, 2.0], 2, what="readings") == [1.0, 2.0]
    with pytest.raises(OutOfRange, match="1 values are too few; at least 2"):
        all_finite([1.0], 2, what="readings")
    with pytest.raises(OutOfRange, match="not a finite number"):
        all_finite([1.0, math.nan], 2, what="readings")
