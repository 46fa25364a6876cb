"""A small chart of characters: what was measured as a line, the plan dashed beneath it."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable

from rich.text import Text

from kuraban.core.texts.translator import figure

Points = list[tuple[float, float]]
HIGH = 8
"""Lines of the chart."""
DOTS = ((0x01, 0x08), (0x02, 0x10), (0x04, 0x20), (0x40, 0x80))
"""Bits of a braille character (Unicode U+2800 on), by its rows and columns."""
GAP = 1800.0
"""Seconds without a value that a line does not bridge."""


def chart(measured: Points, planned: Points, width: int) -> list[Text]:
    """The lines of a chart `width` characters wide, its scale on the left; none without values."""
    everything = [*measured, *planned]
    if len(everything) < 2 or width < 20:
        return []
    low, high = min(v for _, v in everything), max(v for _, v in everything)
    spread = max(high - low, 0.5)
    first, last = min(t for t, _ in everything), max(t for t, _ in everything)
    cells = width - 7
    plan, line = (_drawn(points, first, last, cells, low, spread) for points in (planned, measured))
    rows = []
    for row in range(HIGH):
        scale = high - (high - low) * row / (HIGH - 1)
        text = Text(f"{figure(scale) if row in (0, HIGH // 2, HIGH - 1) else '':>5}  ")
        for cell in range(cells):
            dashed = plan.get((row, cell), 0) if cell % 3 else 0
            bits = line.get((row, cell), 0)
            style = "blue" if bits else "dim"
            text.append(chr(0x2800 + (bits | dashed)) if bits | dashed else " ", style=style)
        rows.append(text)
    return rows


def _drawn(
    points: Points, first: float, last: float, cells: int, low: float, spread: float
) -> dict[tuple[int, int], int]:
    """The bits of every character that the line touches, by its row and column."""
    value = _between(points)
    bits: dict[tuple[int, int], int] = {}
    for dot in range(2 * cells):
        known = value(first + (last - first) * dot / max(2 * cells - 1, 1))
        if known is not None:
            down = round((1 - (known - low) / spread) * (4 * HIGH - 1))
            place = down // 4, dot // 2
            bits[place] = bits.get(place, 0) | DOTS[down % 4][dot % 2]
    return bits


def _between(points: Points) -> Callable[[float], float | None]:
    """Straight between two points that are near enough in time; gaps are gaps."""
    times = [at for at, _ in points]

    def value(at: float) -> float | None:
        after = bisect_right(times, at)
        if after == 0 or after == len(points):
            return points[-1][1] if points and at == times[-1] else None
        (t0, v0), (t1, v1) = points[after - 1], points[after]
        return None if t1 - t0 > GAP else v0 + (v1 - v0) * (at - t0) / (t1 - t0)

    return value
