"""Small drawings of a mash's figures: its own line, beside another's, the house's line, a band.

Drawn by the server as paths of one SVG; the figures themselves stand in a table beside it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import chain
from typing import Literal, NamedTuple

from kuraban.core.planned_curve import Line, Target
from kuraban.core.views.batch_sheet import BatchSheet, SheetDay
from kuraban.core.views.side_by_side import Band, Measure, Origin, band, series

WIDE, HIGH, EDGE = 340, 110, 34
DRAWN: tuple[Measure, ...] = ("morning", "baume", "bmd", "alcohol")
Kind = Literal["one", "other", "drawn"]
"""The batch's own line; another batch's, or one of the best; what the house drew."""


class Small(NamedTuple):
    """A drawing: lines by kind, each as points, the outline of a band, and what stands at its
    edges. `measure` is by moromi day, "a-b" is Baume by alcohol."""

    measure: str
    lines: tuple[tuple[Kind, str], ...]
    band: str
    low: float
    high: float
    first: float
    last: float


def small(
    measure: str, lines: Sequence[tuple[Kind, Line]], held: Sequence[Band] = ()
) -> Small | None:
    """None where there is nothing to be drawn but a point."""
    spots = [spot for _, line in lines for spot in line]
    edges = [(day, value) for day, *ends in held for value in ends]
    if len(spots) + len(edges) < 2:
        return None
    across, up = zip(*spots, *edges, strict=True)
    first, last, low, high = min(across), max(across), min(up), max(up)

    def path(points: Iterable[tuple[float, float]]) -> str:
        return " ".join(
            f"{EDGE + (x - first) * (WIDE - EDGE - 6) / ((last - first) or 1.0):.0f},"
            f"{8 + (high - y) * (HIGH - 30) / ((high - low) or 1.0):.0f}"
            for x, y in points
        )

    outline = chain(((x, most) for x, _, most in held), ((x, least) for x, least, _ in held[::-1]))
    drawn = tuple((kind, path(line)) for kind, line in lines if line)
    return Small(measure, drawn, path(outline), low, high, first, last)


def beside(
    one: BatchSheet, other: BatchSheet | None, best: Sequence[BatchSheet], origin: Origin
) -> Iterator[Small]:
    """Each measure by days, and Baume by alcohol, as far as anything is known of it. The line that
    the house draws for the temperature is the plan."""
    target = one.target or Target()
    for measure in DRAWN:
        lines: list[tuple[Kind, Line]] = [("one", series(one, measure, origin))]
        if other is not None:
            lines.append(("other", series(other, measure, origin)))
        if measure == "bmd" and origin == "tome":
            lines.append(("drawn", target.bmd))
        if measure == "morning":
            lines.append(("drawn", series(one, "aim", origin)))
        drawn = small(measure, lines, band(best, measure, origin))
        if drawn is not None:
            yield drawn
    others = [*best, *([] if other is None else [other])]
    both: list[tuple[Kind, Line]] = [("one", _a_b(one.days))]
    both += [("other", _a_b(sheet.days)) for sheet in others]
    drawn = small("a-b", [*both, ("drawn", target.by_alcohol)])
    if drawn is not None:
        yield drawn


def _a_b(days: Iterable[SheetDay]) -> Line:
    return tuple(
        sorted((d.alcohol, d.baume) for d in days if d.alcohol is not None and d.baume is not None)
    )
