"""The small solvers agree with the large libraries."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kuraban.errors import OutOfRange
from kuraban.trade.numerics import on_line, rising_root


@given(st.floats(-0.99, 0.99))
def test_a_root_is_found_wherever_it_lies(root: float) -> None:
    """A steep and a flat side."""
    found = rising_root(lambda x: math.expm1(5 * (x - root)), -1, 1)
    assert found == pytest.approx(root, abs=1e-8)


def test_a_root_at_an_end_is_that_end_and_no_root_is_refused() -> None:
    """Nothing is invented beyond the interval."""
    assert rising_root(lambda x: x - 1, 1, 2) == 1
    assert rising_root(lambda x: x - 2, 1, 2) == 2
    with pytest.raises(OutOfRange, match="no solution between 1 and 2"):
        rising_root(lambda x: x, 1, 2)


def test_a_line_is_straight_between_its_points_and_nothing_beside_them() -> None:
    line = ((3.0, 24.0), (9.0, 36.0), (20.0, 3.0))
    assert [on_line(line, x) for x in (3, 6, 9, 20)] == [24, 30, 36, 3]
    assert on_line(line, 2.9) is None and on_line(line, 20.1) is None and on_line((), 5) is None
