"""Readings told shortly: how many, least, greatest, mean and last of each slot, and when.

A span of sixty slots of one probe is one value of the table `summary`: an hour of minutes, ten
hours of ten minutes. Its columns lie one behind the other and are then deflated. A column is told
by its steps, whole numbers of its last decimal place, the lowest byte of each first; one that is no
decimal number as it stands; one that is the column before it by nothing. Measured on hours of a
probe that is read once a minute: 112 bytes in one value, where the columns as they stand take 476
and sixty readings at full length 3.6 kB with their index. A day in one value would take less, but
would be packed anew with every step.

Extremes and the last value are the very numbers that were read. Times are kept to a millisecond;
of two equal extremes the earlier counts. Joining slots loses nothing of this: a summary of
summaries is the summary of the readings, the mean up to rounding.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterable, Iterator, Sequence
from itertools import accumulate, pairwise
from operator import eq
from typing import NamedTuple

SLOTS = 60
MINUTES, TENS = 60, 600
"""Seconds of a slot: the two grains that are kept."""

_VALUES = range(2, 6)
"""The columns of a point that are no whole numbers."""
_STEPS = b"\x01"
"""What a value begins with; one without it is of before columns were told by steps."""
_PLACES = 6
"""Decimal places up to which numbers are told as whole ones."""
_SAME, _PLAIN = 254, 255
"""What stands before a column: it is the one before it, or as it stands; else its places."""
_BEFORE = "BIddddIII"
_SIZES = [struct.calcsize(f"<{column}") for column in _BEFORE]
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
    told, before = [], None
    for column in zip(*points, strict=True):
        told.append(bytes([_SAME]) if column == before else _told(column))
        before = column
    return _STEPS + zlib.compress(b"".join((struct.pack("<H", len(points)), *told)), _LEVEL)


def _told(column: tuple[float, ...]) -> bytes:
    for places in range(_PLACES + 1):
        scale = 10**places
        whole = [round(one * scale) for one in column]
        if all(map(eq, column, (one / scale for one in whole))):
            steps = [after - before for before, after in pairwise((0, *whole))]
            if max(map(abs, steps)) < 2**31:
                words = struct.pack(f"<{len(steps)}i", *steps)
                return bytes([places]) + b"".join(words[byte::4] for byte in range(4))
    return bytes([_PLAIN]) + struct.pack(f"<{len(column)}d", *column)


def unpack(blob: bytes) -> list[Point]:
    """Raises ValueError where the bytes are no points."""
    try:
        columns = _read(zlib.decompress(blob[1:])) if blob[:1] == _STEPS else _of_before(blob)
    except (zlib.error, struct.error, IndexError, ValueError) as error:
        raise ValueError(f"no summary of readings ({error})") from error
    return [Point._make(row) for row in zip(*columns, strict=True)]


def _read(plain: bytes) -> list[Sequence[float]]:
    columns: list[Sequence[float]] = []
    (count,), place = struct.unpack_from("<H", plain), 2
    for number in range(len(Point._fields)):
        how, place = plain[place], place + 1
        if how == _SAME:
            columns.append(columns[-1])
        elif how == _PLAIN:
            columns.append(struct.unpack_from(f"<{count}d", plain, place))
            place += 8 * count
        else:
            words = bytearray(4 * count)
            for byte in range(4):
                words[byte::4] = plain[place + byte * count : place + (byte + 1) * count]
            place += 4 * count
            whole, scale = list(accumulate(struct.unpack(f"<{count}i", words))), 10**how
            columns.append([one / scale for one in whole] if number in _VALUES else whole)
    return columns


def _of_before(blob: bytes) -> list[Sequence[float]]:
    plain = zlib.decompress(blob)
    count, place = len(plain) // sum(_SIZES), 0
    columns: list[Sequence[float]] = []
    for kind, size in zip(_BEFORE, _SIZES, strict=True):
        columns.append(struct.unpack_from(f"<{count}{kind}", plain, place))
        place += count * size
    return columns


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
