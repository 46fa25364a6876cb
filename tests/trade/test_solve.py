"""The small solvers agree with the large libraries."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kuraban.errors import OutOfRange
from kuraban.trade.solve import dot, gauss_legendre, rising_root, solve_renewal


@pytest.mark.parametrize("n", [2, 5, 24, 60, 137])
def test_nodes_and_weights_are_those_of_numpy(n: int) -> None:
    """Gauss-Legendre on -1..1, either order of the nodes."""
    nodes, weights = gauss_legendre(-1, 1, n)
    theirs, their_weights = np.polynomial.legendre.leggauss(n)
    assert sorted(nodes) == pytest.approx(theirs, abs=1e-13)
    assert weights[::-1] == pytest.approx(their_weights, abs=1e-13)


def test_an_integral_of_a_bell_curve_is_the_error_function() -> None:
    """20 nodes on one standard deviation either side."""
    nodes, weights = gauss_legendre(-1, 1, 20)
    assert dot(weights, [math.exp(-x * x / 2) for x in nodes]) == pytest.approx(
        math.sqrt(2 * math.pi) * math.erf(1 / math.sqrt(2)), rel=1e-14
    )


def test_linear_equations_are_solved_as_numpy_solves_them() -> None:
    """A seeded kernel that needs exchanged rows."""
    kernel = np.random.default_rng(3).normal(size=(30, 30))
    kernel[0, 0] = 1.0
    theirs = np.linalg.solve(np.eye(30) - kernel, np.ones(30))
    assert solve_renewal(kernel.tolist()) == pytest.approx(theirs, rel=1e-8)


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
