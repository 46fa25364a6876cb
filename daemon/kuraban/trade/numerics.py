"""A small solver and straight lines, so that the arithmetic needs no numerical library."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Sequence

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


def on_line(points: Sequence[tuple[float, float]], x: float) -> float | None:
    """The height at `x` of straight lines through `points`, `x` ascending; None beside them."""
    if not points or not points[0][0] <= x <= points[-1][0]:
        return None
    after = min(bisect_right(points, (x, float("inf"))), len(points) - 1)
    (x0, y0), (x1, y1) = points[max(after - 1, 0)], points[after]
    return y1 if x1 == x0 else y0 + (y1 - y0) * (x - x0) / (x1 - x0)
