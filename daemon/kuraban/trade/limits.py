"""The one way in which the arithmetic refuses an argument."""

from __future__ import annotations

import math
from collections.abc import Sequence

from kuraban.errors import OutOfRange


def within(value: float, low: float, high: float, *, what: str, unit: str = "") -> float:
    """Return `value` if low <= value <= high, both ends allowed.

    `what` names the quantity and `unit` its unit, for the message. NaN lies in no range. An
    infinite `low` or `high` leaves that side open, but the value itself must be finite.
    Raises OutOfRange.
    """
    if math.isfinite(value) and low <= value <= high:
        return value
    shown = f" {unit}" if unit else ""
    raise OutOfRange(f"{what}: {value:g}{shown} is not possible; {_range(low, high)}{shown}")


def above(value: float, low: float, *, what: str, unit: str = "") -> float:
    """Return `value` if it is finite and > `low`. Raises OutOfRange."""
    if math.isfinite(value) and value > low:
        return value
    shown = f" {unit}" if unit else ""
    raise OutOfRange(f"{what}: {value:g}{shown} is not possible; more than {low:g}{shown}")


def all_finite(values: Sequence[float], least: int, *, what: str) -> Sequence[float]:
    """Return `values` if there are at least `least` of them, all finite. Raises OutOfRange."""
    if len(values) < least:
        raise OutOfRange(f"{what}: {len(values)} values are too few; at least {least}")
    if not all(map(math.isfinite, values)):
        raise OutOfRange(f"{what}: a value is not a finite number; leave such values out")
    return values


def _range(low: float, high: float) -> str:
    if high == math.inf:
        return f"at least {low:g}"
    if low == -math.inf:
        return f"at most {high:g}"
    return f"{low:g} to {high:g}"
