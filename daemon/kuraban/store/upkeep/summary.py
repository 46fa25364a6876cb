"""Readings told shortly: how many, least, greatest, mean and last of each slot, and when.

A span of sixty slots of one probe is one value of the table `summary`: an hour of minutes, ten
hours of ten minutes. Its columns lie one behind the other, little-endian, and are then deflated.
Measured on an hour of a probe that is read once a minute: 470 bytes in one value, where sixty rows
with the same columns take some 5 kB and sixty readings at full length 3.4 kB with their index.
A day in one value would take a quarter less, but would be packed anew with every step.

Extremes and the last value are the very numbers that were read. Times are kept to a millisecond;
of two equal extremes the earlier counts. Joining slots loses nothing of this: a summary of
summaries is the summary of the readings, the mean up to rounding.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterable, Iterator
from typing import NamedTuple

SLOTS = 60
MINUTES, TENS = 60, 600
"""Seconds of a slot: the two grains that are kept."""

_COLUMNS = "BIddddIII"
_SIZES = [struct.calcsize(f"<{column}") for column in _COLUMNS]
_LEVEL = 6

Reading = tuple[float, float]
"""When, and the value."""


class Point(NamedTuple):
    """One slot; the times are milliseconds from the beginning of its span."""

    slot: int
    readings: int
    least: float
    greatest: float
    mean: float
    last: float
    least_at: int
    greatest_at: int
    last_at: int


def span_of(at: float, grain: int) -> int:
    """When the span begins that holds a moment, Unix seconds."""
    return int(at // (grain * SLOTS)) * grain * SLOTS


def slot_of(at: float, start: int, grain: int) -> int:
    """Which slot of its span holds a moment."""
    return int((at - start) // grain)


def summed(readings: Iterable[Reading], start: int, grain: int) -> list[Point]:
    """Readings of one span as its points, whatever their order."""
    return joined(_single(at, value, start, grain) for at, value in readings)


def _single(at: float, value: float, start: int, grain: int) -> Point:
    slot = slot_of(at, start, grain)
    moment = min(round((at - start) * 1000), (slot + 1) * grain * 1000 - 1)
    return Point(slot, 1, value, value, value, value, moment, moment, moment)


def joined(points: Iterable[Point]) -> list[Point]:
    """One point of each slot, in their order."""
    found: dict[int, Point] = {}
    for point in points:
        known = found.get(point.slot)
        found[point.slot] = point if known is None else _both(known, point)
    return [found[slot] for slot in sorted(found)]


def _both(one: Point, other: Point) -> Point:
    count = one.readings + other.readings
    least, least_at = min((one.least, one.least_at), (other.least, other.least_at))
    greatest, before = max((one.greatest, -one.greatest_at), (other.greatest, -other.greatest_at))
    last_at, last = max((one.last_at, one.last), (other.last_at, other.last))
    mean = one.mean + (other.mean - one.mean) * (other.readings / count)
    mean = min(max(mean, least), greatest)
    return Point(one.slot, count, least, greatest, mean, last, least_at, -before, last_at)


def coarser(spans: Iterable[tuple[int, list[Point]]], start: int) -> list[Point]:
    """Spans of minutes, each with its beginning, as points of the span of tens from `start` on."""
    return joined(
        _moved(point, begun - start) for begun, points in spans for point in points
    )  # fmt: skip


def _moved(point: Point, by: int) -> Point:
    later = by * 1000
    return Point(
        (by + point.slot * MINUTES) // TENS, point.readings, point.least, point.greatest,
        point.mean, point.last, point.least_at + later, point.greatest_at + later,
        point.last_at + later,
    )  # fmt: skip


def pack(points: list[Point]) -> bytes:
    columns = zip(*points, strict=True)
    packed = [
        struct.pack(f"<{len(points)}{kind}", *column)
        for kind, column in zip(_COLUMNS, columns, strict=True)
    ]
    return zlib.compress(b"".join(packed), _LEVEL)


def unpack(blob: bytes) -> list[Point]:
    """Raises ValueError where the bytes are no points."""
    try:
        plain = zlib.decompress(blob)
        count, place, columns = len(plain) // sum(_SIZES), 0, []
        for kind, size in zip(_COLUMNS, _SIZES, strict=True):
            columns.append(struct.unpack_from(f"<{count}{kind}", plain, place))
            place += count * size
    except (zlib.error, struct.error) as error:
        raise ValueError(f"no summary of readings ({error})") from error
    return [Point._make(row) for row in zip(*columns, strict=True)]


def shown(start: int, points: Iterable[Point]) -> Iterator[Reading]:
    """What a curve needs of each point: least, greatest and last at their times, in order."""
    for point in points:
        if point.readings == 1:
            yield start + point.last_at / 1000, point.last
            continue
        kept = {
            (point.least_at, point.least),
            (point.greatest_at, point.greatest),
            (point.last_at, point.last),
        }
        for moment, value in sorted(kept):
            yield start + moment / 1000, value
