"""Three small solvers, so that the arithmetic needs no numerical library."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from functools import lru_cache

from kuraban.errors import OutOfRange


def rising_root(f: Callable[[float], float], low: float, high: float) -> float:
    """Where the rising, continuous `f` crosses zero between `low` and `high`.

    Accurate to 1e-9 of the interval. Raises OutOfRange where `f` does not change sign in it.
    Source: regula falsi in the Illinois form, Dowell and Jarratt 1971, BIT 11:168.
    """
    at_low, at_high, width, side = f(low), f(high), high - low, 0
    if at_low > 0 or at_high < 0:
        raise OutOfRange(f"no solution between {low:g} and {high:g}")
    x = low if at_low == 0 else high
    for _ in range(100):
        if not at_low < 0 < at_high or high - low < 1e-9 * width:
            break
        x = (low * at_high - high * at_low) / (at_high - at_low)
        here = f(x)
        if here > 0:
            high, at_high = x, here
            at_low, side = (at_low / 2 if side > 0 else at_low), 1
        else:
            low, at_low = x, here
            at_high, side = (at_high / 2 if side < 0 else at_high), -1
    return x


def gauss_legendre(low: float, high: float, n: int) -> tuple[list[float], list[float]]:
    """`n` nodes between `low` and `high`, and their weights, which sum to high - low.

    Exact for polynomials up to degree 2n - 1.
    """
    half, middle = (high - low) / 2, (high + low) / 2
    pairs = _legendre(n)
    return [middle + half * x for x, _ in pairs], [half * w for _, w in pairs]


@lru_cache(maxsize=64)
def _legendre(n: int) -> tuple[tuple[float, float], ...]:
    pairs = []
    for i in range(n):
        x, slope = math.cos(math.pi * (i + 0.75) / (n + 0.5)), 1.0
        for _ in range(8):
            before, here = 1.0, x
            for degree in range(2, n + 1):
                before, here = here, ((2 * degree - 1) * x * here - (degree - 1) * before) / degree
            slope = n * (x * here - before) / (x * x - 1)
            x -= here / slope
        pairs.append((x, 2 / ((1 - x * x) * slope * slope)))
    return tuple(pairs)


def dot(a: Sequence[float], b: Sequence[float]) -> float:
    """The sum of the products of two equally long rows."""
    return math.fsum(x * y for x, y in zip(a, b, strict=True))


def solve_renewal(kernel: Sequence[Sequence[float]]) -> list[float]:
    """Solve L = 1 + kernel · L, `kernel` a square of n rows; Gauss with row exchange, cost n³/3."""
    n = len(kernel)
    rows = [
        [float(i == j) - value for j, value in enumerate(row)] + [1.0]
        for i, row in enumerate(kernel)
    ]
    for i in range(n):
        _clear_below(rows, i)
    lengths = [0.0] * n
    for i in reversed(range(n)):
        known = dot(rows[i][i + 1 : n], lengths[i + 1 :])
        lengths[i] = (rows[i][n] - known) / rows[i][i]
    return lengths


def _clear_below(rows: list[list[float]], i: int) -> None:
    best = max(range(i, len(rows)), key=[abs(row[i]) for row in rows].__getitem__)
    rows[i], rows[best] = rows[best], rows[i]
    pivot = rows[i][i:]
    for row in rows[i + 1 :]:
        factor = row[i] / pivot[0]
        if factor:
            row[i:] = [a - factor * b for a, b in zip(row[i:], pivot, strict=True)]
