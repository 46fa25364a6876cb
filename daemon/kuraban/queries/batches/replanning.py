"""A plan drawn anew for days to come, and what is asked back before it is kept.

A slip of the finger is likelier than a wonder: beyond what the course allows at all, or from one
day to the next further than such a product can be brought. All figures are common practice; they
ask, they refuse nothing.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from kuraban.core.plan.subject_state import Batch
from kuraban.core.planned_curve import Redraw
from kuraban.core.site import House
from kuraban.core.texts.translator import figure
from kuraban.core.units import DAY, HOUR
from kuraban.core.views.batch_sheet import Question
from kuraban.core.views.snapshot import Point

A_DAY = {"tank": (3.0, 2.5), "starter": (8.0, 8.0), "koji-bed": (15.0, 15.0)}
"""K down and up that a product may be brought within a day."""
SHORTEST = 6 * HOUR
"""Two points nearer than that are judged as if so far apart."""


def redrawn(house: House, batch: Batch, now: float, points: tuple[Point, ...]) -> Batch:
    """The batch as if the brewer had drawn these points now; those gone by are passed over."""
    twin = batch.copy()
    ahead = tuple(sorted(point for point in points if point[0] > now))
    if ahead:
        twin.redraws.append(Redraw(now, ahead, "shift"))
        twin.lay(house)
    return twin


def redrawn_questions(
    kind: str, batch: Batch, now: float, points: tuple[Point, ...]
) -> Iterator[Question]:
    """Questions about points in order of time, the plan of now before them."""
    low, high = batch.course.never
    for _, celsius in points:
        if not low <= celsius <= high:
            key = "above" if celsius > high else "below"
            edge = high if celsius > high else low
            yield Question(key, (("celsius", figure(celsius)), ("edge", figure(edge))))
    down, up = A_DAY.get(kind, A_DAY["tank"])
    for (at, was), (then, celsius) in pairwise(((now, batch.plan.at(now)), *points)):
        days = max(then - at, SHORTEST) / DAY
        if celsius - was > up * days or was - celsius > down * days:
            fields = (("before", figure(was)), ("after", figure(celsius)),
                      ("hours", f"{(then - at) / HOUR:.0f}"))  # fmt: skip
            yield Question("jump", fields)
