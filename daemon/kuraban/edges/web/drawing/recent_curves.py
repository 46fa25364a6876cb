"""The last day of a place as a small curve in its band, for whoever would rather look than read.

A curve is read from the journal once and then only carried on: with forty tanks, a whole day of all
of them at every look would be a million readings an hour.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path
from threading import Lock
from typing import NamedTuple

from kuraban.core.site import House
from kuraban.core.units import DAY, MINUTE
from kuraban.core.views.snapshot import PlaceNow
from kuraban.edges.web.history_queries import Measured, curve, reading
from kuraban.errors import JournalError

STEP = 30 * MINUTE
WIDE, HIGH = 96, 30
"""Units of the drawing; a step is two wide."""
LEAST = 0.6
"""K that the height spans at least: a level line is not blown up to a mountain."""


class Spark(NamedTuple):
    """Paths of an SVG drawing that is 96 wide and 30 high; `band` is empty where there is none."""

    line: str
    band: str


class RecentCurves:
    """Curves as last read. Safe in any thread."""

    def __init__(self, journal: Path) -> None:
        self._journal = journal
        self._lock = Lock()
        self._known: dict[str, tuple[tuple[float, ...], list[Measured]]] = {}
        """By place, and when the doubts began that were left out."""

    def spark(self, house: House, place: PlaceNow, now: float) -> Spark | None:
        """None where nothing was measured, or the journal cannot be read."""
        points = self._points(house, place, now)
        if len(points) < 2:
            return None
        start = now - DAY
        times = [start + number * STEP for number in range(int(DAY // STEP) + 1)]
        band = [(at, *edges) for at in times if (edges := _edges(place, at)) is not None]
        values = [one.value for one in points] + [v for _, low, high in band for v in (low, high)]
        least, most = min(values), max(values)
        middle, half = (least + most) / 2, max(most - least, LEAST) / 2

        def spot(at: float, value: float) -> tuple[int, int]:
            x = (at - start) / DAY * WIDE
            return round(x), round((HIGH - 2) * (0.5 - (value - middle) / (2 * half)) + 1)

        upper = [spot(at, high) for at, _, high in band]
        lower = [spot(at, low) for at, low, _ in band]
        line = "".join(
            _path([spot(one.at, one.value) for one in piece]) for piece in _pieces(points)
        )
        return Spark(line, _path([*upper, *lower[::-1]]) + "z" if band else "")

    def _points(self, house: House, place: PlaceNow, now: float) -> list[Measured]:
        began = tuple(start // STEP for start, _ in place.doubts)
        with self._lock:
            before, known = self._known.get(place.id, ((), []))
            known = [one for one in known if one.at > now - DAY] if before == began else []
            since = known[-1].at if known else now - DAY
            if now - since >= STEP:
                try:
                    with reading(self._journal) as history:
                        newer = curve(history, house, place.id, since, now, STEP, place.doubts)
                except JournalError:
                    return known
                known = [*known[:-1], *newer] if newer else known
                self._known[place.id] = began, known
            return known


def _edges(place: PlaceNow, at: float) -> tuple[float, float] | None:
    """The band about the plan at a moment, or the place's own."""
    if place.batch is None:
        return place.band
    planned = place.batch.plan.at(at)
    stretch = next(
        (one for one in place.batch.plan.stretches
         if one.start <= at and (one.end is None or at < one.end)), None
    )  # fmt: skip
    if planned is None or stretch is None:
        return None
    return planned - stretch.below, planned + stretch.above


def _pieces(points: list[Measured]) -> Iterator[list[Measured]]:
    """Gaps stay gaps."""
    piece = points[:1]
    for before, after in pairwise(points):
        if after.at - before.at > 1.5 * STEP:
            yield piece
            piece = []
        piece.append(after)
    yield piece


def _path(spots: list[tuple[int, int]]) -> str:
    """A line through spots, each told from the one before, without those on a level stretch."""
    kept = [
        spot
        for number, spot in enumerate(spots)
        if not 0 < number < len(spots) - 1
        or not spots[number - 1][1] == spot[1] == spots[number + 1][1]
    ]
    steps = "".join(
        f"{x - was_x}{' ' if y >= was_y else ''}{y - was_y} "
        for (was_x, was_y), (x, y) in pairwise(kept)
    )
    return f"M{kept[0][0]} {kept[0][1]}l{steps.rstrip()}" if steps else ""
