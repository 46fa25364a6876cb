"""The sheet of a batch, day by day: as a page to look at and to print, as CSV, and for programs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

from fastapi import APIRouter, Path, Query, Request
from fastapi.responses import RedirectResponse, Response
from starlette.exceptions import HTTPException

from kuraban.core.site import House
from kuraban.core.texts.translator import figure
from kuraban.core.units import HOUR, show_time
from kuraban.core.views.batch_sheet import BatchSheet, BatchStay, SheetDay
from kuraban.core.views.side_by_side import band
from kuraban.core.views.snapshot import Text
from kuraban.edges.web import history_queries as past
from kuraban.edges.web.drawing import lazy_figures as drawing
from kuraban.edges.web.drawing import long_charts as lines
from kuraban.edges.web.drawing import small_plots as plots
from kuraban.edges.web.page_context import Context, PageContext, Somebody
from kuraban.edges.web.programs.api import PREFIX, REFUSALS, Subject, fields_of
from kuraban.edges.web.programs.sheet_csv import clocks, table
from kuraban.edges.web.templating import page
from kuraban.edges.web.translator import Translator
from kuraban.errors import JournalError
from kuraban.store.history import Shortened
from kuraban.trade.numerics import on_line

router = APIRouter(include_in_schema=False)
programs = APIRouter(prefix=PREFIX, responses=REFUSALS)

HEAVY = 3.0
"""Baume from which brewers write Baume; below it they write the sake meter value (SMV)."""


@router.get("/place/{place}/sheet")
def of_place(context: Context, visitor: Somebody, place: str) -> Response:
    """The sheet of what runs in a place, or ran there last."""
    stays = [stay for stay in context.books().stays() if stay.place == place]
    if not stays:
        raise HTTPException(404)
    return RedirectResponse(f"/batches/{place}/{stays[0].key}", 303)


@router.get("/batches/{place}/{key}")
def sheet(request: Request, context: Context, visitor: Somebody, place: str, key: int) -> Response:
    found, w = known(context, place, key), context.translator(visitor.language)
    best = context.books().best(found.stay)
    return page(
        request, context, visitor, "sheet.html", sheet=found, stay=found.stay,
        charts=drawing.available(), clocks=clocks(found),
        counted=[day for day in found.days if day.bmd is not None][-4:],
        density=lambda day: density(day, w), day_number=day_number,
        manages=visitor.may("manage"), may_log=visitor.may("log"), kept=_kept(found, context),
        best=best, small=list(plots.beside(found, None, best, "tome")),
        began=show_time(found.stay.start, context.house.zone), today=_today(found, best),
        marks=context.house.place[place].kind != "koji-bed",
        way=context.books().way(found.stay.name),
    )  # fmt: skip


class Today(NamedTuple):
    """The last BMD, what the house's line has on that day, and from where to where the best lay."""

    day: int
    bmd: float
    line: float | None
    band: tuple[float, float] | None


def _today(sheet: BatchSheet, best: Sequence[BatchSheet]) -> Today | None:
    last = next((day for day in sheet.days[::-1] if day.bmd is not None), None)
    if last is None or last.bmd is None or last.day is None:
        return None
    line = on_line(sheet.target.bmd, last.day) if sheet.target else None
    lain = band(best, "bmd", "tome")
    least = on_line([(day, low) for day, low, _ in lain], last.day)
    most = on_line([(day, high) for day, _, high in lain], last.day)
    held = None if least is None or most is None else (least, most)
    return Today(last.day, last.bmd, line, held)


def _kept(sheet: BatchSheet, context: PageContext) -> tuple[Shortened, ...]:
    """Where the readings of a batch are summaries by now; nothing where nobody can say."""
    places = dict.fromkeys([sheet.stay.place, *(day.place for day in sheet.days)])
    probes = [probe.id for place in places for probe in context.house.probes_of(place)]
    try:
        with past.reading(context.history) as history:
            return history.shortened(probes, *span(sheet))
    except JournalError:
        return ()


@router.get("/batches/{place}/{key}/curve.svg")
def curve(
    context: Context,
    visitor: Somebody,
    place: str,
    key: int,
    tone: drawing.Tone = "day",
    size: drawing.Shape = "page",
) -> Response:
    found = known(context, place, key)
    return lines.answer(drawn(found, context, context.translator(visitor.language), tone, size))


@router.get("/batches/{place}/{key}/curve.json")
def touched(context: Context, visitor: Somebody, place: str, key: int) -> Response:
    found, w = known(context, place, key), context.translator(visitor.language)
    start, end = span(found)
    return lines.readout(w, start, end, found.measured, found.plan)


@router.get("/batches/{place}/{key}/sheet.csv")
def as_csv(context: Context, visitor: Somebody, place: str, key: int) -> Response:
    """With units in the header, and a mark by which spreadsheets know that it is UTF-8."""
    found = known(context, place, key)
    name = f'attachment; filename="{place}-{key}.csv"'
    return Response(
        "\ufeff" + table(found, context.translator(visitor.language)),
        media_type="text/csv; charset=utf-8", headers={"content-disposition": name},
    )  # fmt: skip


def known(context: PageContext, place: str, key: int) -> BatchSheet:
    found = context.books().sheet(place, key) if place in context.house.place else None
    if found is None:
        raise HTTPException(404)
    return found


def day_number(day: int | None) -> str | None:
    """With a true minus sign for the days before the first."""
    return None if day is None else figure(day, 0)


def density(day: SheetDay, w: Translator) -> str:
    """Baume while the mash is heavy, SMV after."""
    if day.baume is None or day.smv is None:
        return ""
    if day.baume >= HEAVY:
        return w("sheet.in-baume", n=w.figure(day.baume))
    return w("sheet.in-smv", n=w.signed(day.smv, 0))


def span(sheet: BatchSheet) -> tuple[float, float]:
    """What the curve shows: the batch, and the two days to come of one that runs."""
    points = sheet.plan.points
    start = max(sheet.stay.since, sheet.days[0].at if sheet.days else sheet.stay.since)
    last = sheet.measured[-1][0] if sheet.measured else start
    end = sheet.stay.end or max(points[-1][0], last)
    return start, max(end, start + HOUR)


def drawn(
    sheet: BatchSheet,
    context: PageContext,
    w: Translator,
    tone: drawing.Tone,
    size: drawing.Shape = "page",
) -> lines.Drawn:
    start, end = span(sheet)
    days = tuple((day.at, day.day) for day in sheet.days)
    stay = sheet.stay
    return lines.Drawn(
        house=context.house, title=f"{stay.title or stay.name}  {w.place(stay.place)}",
        start=start, end=end, points=sheet.measured, step=sheet.step, plan=sheet.plan,
        faint=sheet.plan.first, days=lines.days_of(context.house, days, start, end),
        done=tuple(one for day in sheet.days for one in day.work), w=w, tone=tone, size=size,
    )  # fmt: skip


# For programs.


@dataclass(frozen=True, slots=True)
class Batch:
    """A batch in one place. `key` is its part in addresses; `end` is None while it runs."""

    key: int
    place: str
    batch: str
    title: str | None
    course: str
    since: str
    start: str
    end: str | None
    stage: str
    stage_title: Text
    day: int | None
    rice_kg: float | None


@dataclass(frozen=True, slots=True)
class Day:
    """One brewery day; °C, % ABV, mL, hours with the valve open."""

    at: str
    number: int
    place: str
    day: int | None
    stages: list[Text]
    aim: float | None
    morning: float | None
    evening: float | None
    room: float | None
    baume: float | None
    smv: float | None
    alcohol: float | None
    acidity: float | None
    amino: float | None
    bmd: float | None
    face: list[str]
    cooled: float | None
    work: list[dict[str, Any]]


@dataclass(frozen=True, slots=True)
class Zero:
    """The moromi day on which Baume reaches zero."""

    earliest: float
    likely: float
    latest: float


@dataclass(frozen=True, slots=True)
class Sheet:
    batch: Batch
    days: list[Day]
    zero: Zero | None


@programs.get("/batches", summary="Every batch that is known, the newest first")
def all_batches(context: Context, visitor: Somebody) -> list[Batch]:
    return [_batch(stay, context.house) for stay in context.books().stays()]


@programs.get("/batches/{place}/{key}", summary="The sheet of a batch, day by day")
def one_sheet(
    context: Context, visitor: Somebody, place: Subject,
    key: int = Path(ge=0, le=10**12, description="Of the list of batches."),
) -> Sheet:  # fmt: skip
    found = context.books().sheet(place, key) if place in context.house.place else None
    if found is None:
        raise HTTPException(404, f"no batch began in {place} at {key}; /batches lists them")
    zero = found.zero
    return Sheet(
        batch=_batch(found.stay, context.house),
        days=[_day(day, context.house) for day in found.days],
        zero=None if zero is None else Zero(zero.earliest, zero.likely, zero.latest),
    )


@programs.get("/way", summary="What went into a batch, where it stood, where it went")
def way(
    context: Context, visitor: Somebody,
    batch: str = Query(min_length=1, max_length=200, description="Name of a batch or lot."),
) -> dict[str, Any]:  # fmt: skip
    """From additions that name their lot, from merges and pressings, walked both ways; of pressed
    sake the degree-days above 0 °C and the heatings: highest °C, and minutes at `least` or more."""
    found = context.books().way(batch)
    if not found.stood and not found.joints:
        raise HTTPException(404, f"no batch {batch} is known; /batches lists them")
    return found.told(context.house.zone)


def _batch(stay: BatchStay, house: House) -> Batch:
    zone = house.zone
    return Batch(
        key=stay.key, place=stay.place, batch=stay.name, title=stay.title, course=stay.course,
        since=show_time(stay.since, zone), start=show_time(stay.start, zone),
        end=None if stay.end is None else show_time(stay.end, zone), stage=stay.stage,
        stage_title=stay.stage_title, day=stay.day, rice_kg=stay.rice_kg,
    )  # fmt: skip


def _day(day: SheetDay, house: House) -> Day:
    return Day(
        at=show_time(day.at, house.zone), number=day.number, place=day.place, day=day.day,
        stages=list(day.stages), aim=day.aim, morning=day.morning, evening=day.evening,
        room=day.room, baume=day.baume, smv=day.smv, alcohol=day.alcohol, acidity=day.acidity,
        amino=day.amino, bmd=day.bmd, face=list(day.face), cooled=day.cooled,
        work=[
            {**fields_of(one, house.zone), "at": show_time(one.at, house.zone)} for one in day.work
        ],
    )  # fmt: skip
