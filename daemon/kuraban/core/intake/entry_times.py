"""The times that an entry names, from the wall clock's to the watch's and back."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from kuraban.core.units import parse_time

Carry = Callable[[float], float]
"""From the one time to the other, Unix seconds both."""


def carried(fields: Mapping[str, object], carry: Carry) -> dict[str, object]:
    """The members of an entry with every time in them carried over, as Unix seconds.

    Its own `at` is the envelope's and stays, and so does what is no time.
    """
    found = dict(fields)
    if "since" in found:
        found["since"] = _carried(found["since"], carry)
    if found.get("entry") in ("aim", "amend", None) and "by" in found:
        found["by"] = _carried(found["by"], carry)
    points = found.get("points")
    if isinstance(points, (list, tuple)):
        found["points"] = [_point(point, carry) for point in points]
    inner = found.get("fields")
    if isinstance(inner, dict):
        found["fields"] = carried(inner, carry)
    return found


def _point(point: object, carry: Carry) -> object:
    if isinstance(point, (list, tuple)) and point:
        return [_carried(point[0], carry), *point[1:]]
    return point


def _carried(time: object, carry: Carry) -> object:
    try:
        return carry(parse_time(time))
    except ValueError:
        return time
