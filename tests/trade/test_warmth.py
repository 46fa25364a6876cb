"""The sum of warmth in store, and how long a heating held."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kuraban.errors import OutOfRange
from kuraban.trade.warmth import DAY, LONGEST_GAP, Held, Warmth, held, warmth


def test_a_tank_at_fifteen_degrees_for_a_hundred_days_had_1500() -> None:
    """By hand; above 10 °C it had 500."""
    days = [DAY * day for day in range(101)]
    assert warmth(days, [15.0] * 101) == Warmth(pytest.approx(1500), pytest.approx(100))
    assert warmth(days, [15.0] * 101, base=10).degree_days == pytest.approx(500)


def test_a_day_below_the_base_takes_nothing_off() -> None:
    """From -5 to 5 °C in a day: half a day above zero, at 2.5 in the mean."""
    assert warmth([0, DAY], [-5, 5]).degree_days == pytest.approx(1.25)
    assert warmth([0, DAY], [-5, -1]).degree_days == 0


def test_what_nobody_read_is_not_known() -> None:
    """A gap of two days counts for nothing, and is not among the days."""
    assert warmth([0, DAY, 3 * DAY], [10, 10, 10]) == Warmth(pytest.approx(10), pytest.approx(1))
    assert LONGEST_GAP == DAY == 86_400


@given(st.lists(st.floats(-5, 40), min_size=2, max_size=40))
def test_above_no_base_it_is_the_area_under_the_line(celsius: list[float]) -> None:
    """By numpy's trapezoids, from a base below every reading."""
    hours = [3600.0 * n for n in range(len(celsius))]
    found = warmth(hours, celsius, base=-10)
    area = np.trapezoid(np.array(celsius) + 10, np.array(hours) / DAY)
    assert found.degree_days == pytest.approx(area)


def test_a_heating_as_it_is_taught() -> None:
    """To 65 °C in 40 min, held 60 min, cooled to 25 °C in 120 min: at 62 °C or more for 2.4 min on
    the way up, 60, and 9 on the way down (by hand)."""
    found = held([0, 2400, 6000, 13_200], [15, 65, 65, 25], 62)
    assert found == Held(65, pytest.approx(2.4 + 60 + 9))


def test_what_never_came_there_held_nothing() -> None:
    assert held([0, 600], [15, 58], 62) == Held(58, 0)


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: warmth([0], [1]), lambda: warmth([0, 0], [1, 1]), lambda: warmth([0, 1], [1]),
        lambda: held([1, 0], [1, 2], 0), lambda: warmth([0, 1], [1, float("nan")]),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused(wrong: object) -> None:
    with pytest.raises(OutOfRange):
        wrong()  # type: ignore[operator]
