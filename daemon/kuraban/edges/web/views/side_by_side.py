"""A batch beside another: laid over each other from soe or from tome, with a table of the days.

The other is any batch of the same kind of place, or `course`: the batch's own course.
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated, Any, NamedTuple

from fastapi import APIRouter, Path, Query, Request
from fastapi.responses import Response
from starlette.exceptions import HTTPException

from kuraban.core import entries as e
from kuraban.core.site import House
from kuraban.core.views.batch_sheet import BatchSheet, BatchStay
from kuraban.core.views.side_by_side import (
    MEASURES,
    YEAR,
    DayPair,
    Origin,
    begins,
    course_of,
    likely,
    middle_of,
    pairs,
    ran_at,
)
from kuraban.core.views.snapshot import PlanLine, Point
from kuraban.edges.table_writer import csv_rows
from kuraban.edges.web.drawing import lazy_figures as drawing
from kuraban.edges.web.drawing import long_charts as lines
from kuraban.edges.web.drawing import small_plots as plots
from kuraban.edges.web.page_context import Context, PageContext, Somebody
from kuraban.edges.web.programs.api import PREFIX, REFUSALS, Subject
from kuraban.edges.web.templating import page
from kuraban.edges.web.translator import Translator
from kuraban.edges.web.views.batch_sheet import known

router = APIRouter(include_in_schema=False)
programs = APIRouter(prefix=PREFIX, responses=REFUSALS)

COURSE, BEST = "course", "best"
GAP = 3.0
"""Steps without a reading from which the other's line is broken."""
OTHER = "The other, as place/key of /batches, `course`, or `best`: the middle of the house's best."
With = Annotated[str, Query(alias="with", max_length=120, description=OTHER)]
From = Annotated[Origin, Query(alias="from", description="The first day of both.")]


class Both(NamedTuple):
    one: BatchSheet
    other: BatchSheet
    chosen: str
    origin: Origin
    others: list[BatchStay]
    best: tuple[BatchSheet, ...]

    @property
    def days(self) -> tuple[DayPair, ...]:
        return pairs(self.one, self.other, self.origin)


@router.get("/batches/{place}/{key}/beside")
def beside(
    request: Request, context: Context, visitor: Somebody, place: str, key: int,
    asked: With = "", origin: From = "tome",
) -> Response:  # fmt: skip
    both = _both(context, place, key, asked, origin)
    w = context.translator(visitor.language)
    ago = {f"{one.place}/{one.key}" for one in ran_at(tuple(both.others), w.at - YEAR)}
    return page(
        request, context, visitor, "side_by_side.html", both=both, stay=both.one.stay,
        days=both.days, named=_name(both, w), small=list(_small(both)), ago=ago,
        charts=drawing.available(),
        query=f"with={both.chosen}&from={both.origin}", added=added,
    )  # fmt: skip


@router.get("/batches/{place}/{key}/beside.svg")
def curve(
    context: Context, visitor: Somebody, place: str, key: int, asked: With = "",
    origin: From = "tome", tone: drawing.Tone = "day", size: drawing.Shape = "page",
) -> Response:  # fmt: skip
    both, w = _both(context, place, key, asked, origin), context.translator(visitor.language)
    one, other = both.one, both.other
    zero, other_zero = begins(one, both.origin), begins(other, both.origin)
    shift = 0.0 if zero is None or other_zero is None else zero - other_zero
    laid = tuple((at + shift, value) for at, value in _broken(other))
    start = min((sheet[0][0] for sheet in (one.measured, laid) if sheet), default=one.stay.since)
    end = max((sheet[-1][0] for sheet in (one.measured, laid) if sheet), default=start) + 3600.0
    days = tuple((day.at, day.day) for day in one.days)
    return lines.answer(
        lines.Drawn(
            house=context.house, title="", start=start, end=end, points=one.measured, step=one.step,
            plan=PlanLine(points=laid), faint=one.plan.points,
            days=lines.days_of(context.house, days, start, end),
            done=tuple(work for day in one.days for work in day.work), w=w, tone=tone, size=size,
        )
    )  # fmt: skip


@router.get("/batches/{place}/{key}/beside.csv")
def as_csv(
    context: Context, visitor: Somebody, place: str, key: int, asked: With = "",
    origin: From = "tome",
) -> Response:  # fmt: skip
    both, w = _both(context, place, key, asked, origin), context.translator(visitor.language)
    out = io.StringIO()
    names = [w(f"sheet.{name}") for name in MEASURES]
    one, other = both.one.stay.title or both.one.stay.name, _name(both, w)
    heads = [w("sheet.day"), *(f"{name}: {who}" for name in names
                               for who in (one, other, w("beside.apart")))]  # fmt: skip
    more = [f"{w(f'beside.{what}')}: {who}" for what in ("stirs", "work") for who in (one, other)]
    csv_rows(out)([[*heads, *more], *(_cells(day, w) for day in both.days)])
    name = f'attachment; filename="{place}-{key}-beside.csv"'
    return Response(
        "\ufeff" + out.getvalue(), media_type="text/csv; charset=utf-8",
        headers={"content-disposition": name},
    )  # fmt: skip


def _small(both: Both) -> Iterator[plots.Small]:
    """The other as a line, and the best as a band behind both."""
    other = None if both.chosen == COURSE else both.other
    return plots.beside(both.one, other, both.best, both.origin)


def _cells(day: DayPair, w: Translator) -> list[str]:
    figures = [
        "" if value is None else f"{round(value, 2) + 0.0:g}"
        for measure in MEASURES
        for value in (*day.values(measure), day.apart(measure))
    ]
    stirs = ["" if one is None else str(one.stirs) for one in (day.one, day.other)]
    work = ["; ".join(w.did(one) for one in added(told)) for told in day.added()]
    return [str(day.number), *figures, *stirs, *work]


def added(told: tuple[Any, ...]) -> list[Any]:
    """Of what was done, what went in, and the stages."""
    return [one for one in told if isinstance(one.entry, (e.Addition, e.StageMark))]


def _both(context: PageContext, place: str, key: int, asked: str, origin: Origin) -> Both:
    """Both sheets; 404 where one is not known."""
    one = known(context, place, key)
    best = context.books().best(one.stay)
    others = fitting(context.books().stays(), one.stay, context.house)
    if not asked:
        found = likely(one.stay, others)
        asked = COURSE if found is None else f"{found.place}/{found.key}"
    if asked == COURSE:
        other = course_of(one)
    elif asked == BEST and best:
        other = one
    else:
        where, _, number = asked.partition("/")
        if not number.isdigit() or len(number) > 12:
            raise HTTPException(404)
        other = known(context, where, int(number))
    if begins(one, origin) is None or begins(other, origin) is None:
        origin = "soe"
    if asked == BEST:
        other = middle_of(one, best, origin)
    return Both(one, other, asked, origin, others, best)


def fitting(stays: tuple[BatchStay, ...], stay: BatchStay, house: House) -> list[BatchStay]:
    """The other batches of the same kind of place, the newest first."""
    kind = house.place[stay.place].kind
    return [
        one for one in stays
        if (one.place, one.key) != (stay.place, stay.key)
        and one.place in house.place and house.place[one.place].kind == kind
    ]  # fmt: skip


def _name(both: Both, w: Translator) -> str:
    if both.chosen == COURSE:
        return w("beside.course", course=w.text(both.one.stay.course_title))
    if both.chosen == BEST:
        return w("beside.best", n=len(both.best))
    other = both.other.stay
    return w("beside.named", batch=other.title or other.name, place=w.place(other.place),
             when=w.date(other.since))  # fmt: skip


def _broken(sheet: BatchSheet) -> list[Point]:
    """Its measured line, with nothing where nothing was measured; a course has its corners."""
    found: list[Point] = []
    for at, value in sheet.measured:
        if found and sheet.stay.end is not None and at - found[-1][0] > GAP * sheet.step:
            found.append((found[-1][0] + 1.0, float("nan")))
        found.append((at, value))
    return found


# For programs.


@dataclass(frozen=True, slots=True)
class Values:
    """Of both on a day; °C, % ABV. `apart` is the one less the other."""

    one: float | None
    other: float | None
    apart: float | None


@dataclass(frozen=True, slots=True)
class Compared:
    day: int
    morning: Values
    baume: Values
    smv: Values
    bmd: Values
    alcohol: Values
    stirs: tuple[int | None, int | None]


@programs.get("/batches/{place}/{key}/beside", summary="A batch beside another, day by day")
def told(
    context: Context, visitor: Somebody, place: Subject,
    key: int = Path(ge=0, le=10**12, description="Of the list of batches."),
    asked: With = COURSE, origin: From = "tome",
) -> list[Compared]:  # fmt: skip
    found = []
    for day in _both(context, place, key, asked, origin).days:
        values = {one: Values(*day.values(one), day.apart(one)) for one in MEASURES}
        stirs = tuple(None if one is None else one.stirs for one in (day.one, day.other))
        found.append(Compared(day.number, **values, stirs=(stirs[0], stirs[1])))
    return found
