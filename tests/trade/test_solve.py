"""The small solvers agree with the large libraries."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kuraban.errors import OutOfRange
from kuraban.trade.solve import rising_root


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
