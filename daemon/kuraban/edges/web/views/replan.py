"""Tomorrow and the days after: the plan re-drawn for many days, and the figures that decide it.

The brewer writes a temperature for any of the coming mornings. The plan then runs straight from
now through these and goes on as the course has it, shifted. The curve is drawn by the server, by a
script at each figure or by the button; nothing is kept before "keep" is pressed.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Annotated, Any, NamedTuple
from urllib.parse import urlencode
from uuid import uuid4

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response
from starlette.exceptions import HTTPException

from kuraban.core import entries as e
from kuraban.core.facts import Refusal
from kuraban.core.intake.entry_parser import entry_from
from kuraban.core.plan.counted_entries import ToldEntry
from kuraban.core.units import DAY, show_time
from kuraban.core.views.batch_sheet import Ahead, BatchSheet, Question, SheetDay
from kuraban.core.views.snapshot import Point
from kuraban.edges.web import history_queries as past
from kuraban.edges.web.drawing import lazy_figures as drawing
from kuraban.edges.web.drawing import long_charts as lines
from kuraban.edges.web.forms.form_fields import (
    Faults,
    Filled,
    Form,
    TheForm,
    led,
    own_id,
    refused,
)
from kuraban.edges.web.forms.form_values import number
from kuraban.edges.web.forms.questions import asks
from kuraban.edges.web.forms.submit_entry import Outcome, known_entry, tell
from kuraban.edges.web.page_context import Context, NotAllowed, PageContext, Somebody, Visitor
from kuraban.edges.web.programs.api import PREFIX, REFUSALS, Subject
from kuraban.edges.web.templating import page
from kuraban.edges.web.translator import Translator
from kuraban.edges.web.views.batches import running_in
from kuraban.edges.web.views.place import brewing_place, known_place
from kuraban.errors import JournalError

router = APIRouter(include_in_schema=False)
programs = APIRouter(prefix=PREFIX, responses=REFUSALS)

DAYS, MOST_DAYS = 7, 21
BACK = 3 * DAY
PARTS = ("", "-check", "-note")
"""Ends of the ids of one form's entries: the analysis, the hand thermometer, the note."""
BY_HAND = "celsius"
ANALYSED = ("baume", "smv", "alcohol", "acidity", "amino", "hydrometer_celsius")


class Typed(NamedTuple):
    """The figures of a form that can be read, and by field the texts that cannot."""

    points: tuple[Point, ...]
    unread: dict[str, str]


@router.get("/place/{place}/plan")
def plan(request: Request, context: Context, visitor: Somebody, place: str) -> Response:
    return _plan_page(request, context, visitor, place, dict(request.query_params))


@router.get("/place/{place}/plan.svg")
def plan_curve(
    request: Request,
    context: Context,
    visitor: Somebody,
    place: str,
    tone: drawing.Tone = "day",
    size: drawing.Shape = "page",
) -> Response:
    """The days past and to come with the figures of the address drawn in."""
    form = dict(request.query_params)
    typed = read(form)
    ahead = known_ahead(context, place, form, typed.points)
    now, house, w = context.clock(), context.house, context.translator(visitor.language)
    start, end = now - BACK, ahead.days[-1].at
    try:
        with past.reading(context.history) as history:
            curve = past.curve(history, house, place, start, now, 20 * 60.0)
    except JournalError:
        curve = []
    turns = tuple((day.at, day.day) for day in ahead.days)
    return lines.answer(
        lines.Drawn(
            house=house,
            title=w.place(place),
            start=start,
            end=end,
            points=tuple((one.at, one.value) for one in curve),
            step=20 * 60.0,
            plan=ahead.drawn or ahead.plan,
            faint=ahead.plan.points if ahead.drawn is not None else ahead.plan.first,
            days=turns,
            w=w,
            tone=tone,
            size=size,
        )
    )


def read(form: Form) -> Typed:
    """Points of the fields that are named by their moments, in order of time."""
    points: list[Point] = []
    unread: dict[str, str] = {}
    for name, text in form.items():
        if not name.startswith("t") or not name[1:].isdigit() or len(name) > 12:
            continue
        try:
            celsius = number(text)
        except ValueError:
            unread[name] = text
            continue
        if celsius is not None:
            points.append((float(name[1:]), celsius))
    return Typed(tuple(sorted(points)), unread)


def known_ahead(context: PageContext, place: str, form: Form, points: tuple[Point, ...]) -> Ahead:
    """The plan of a place; 404 where no batch runs in it."""
    asked = form.get("days", "")
    days = min(max(int(asked), 2), MOST_DAYS) if asked.isdigit() and len(asked) < 4 else DAYS
    ahead = context.books().ahead(place, days, points) if place in context.house.place else None
    if ahead is None:
        raise HTTPException(404)
    return ahead


@router.post("/place/{place}/plan")
def redraw(
    request: Request, context: Context, visitor: Somebody, place: str, form: TheForm
) -> Response:
    typed = read(form)
    ahead = known_ahead(context, place, form, typed.points)
    keep = form.get("do") == "keep" and not typed.unread and bool(typed.points)
    if not keep or (ahead.questions and form.get("sure") != _meant(typed.points)):
        return _plan_page(request, context, visitor, place, form)
    points = [[show_time(at, context.house.zone), celsius] for at, celsius in typed.points]
    outcome = tell({"entry": "plan", "points": points, **own_id(form)}, place, context, visitor)
    if outcome.state == "refused":
        w = context.translator(visitor.language)
        return _plan_page(request, context, visitor, place, form, refused(outcome, form, w))
    return led(f"/place/{place}", outcome, place)


def _meant(points: tuple[Point, ...]) -> str:
    """What somebody was asked about: other figures are asked about anew."""
    return " ".join(f"{at:.0f}={celsius:g}" for at, celsius in points)


def _plan_page(
    request: Request, context: PageContext, visitor: Visitor, place: str, form: dict[str, str],
    wrong: Faults | None = None,
) -> Response:  # fmt: skip
    if not visitor.may("log"):
        raise NotAllowed
    w, typed = context.translator(visitor.language), read(form)
    ahead = known_ahead(context, place, form, typed.points)
    drawn, sheet = ahead.drawn, sheet_of(context, place)
    meant = {name: form[name] for name in form if name.startswith("t") and name != "token"}
    kept = {**meant, "days": str(len(ahead.days))}
    asks = request.method == "POST" and form.get("do") == "keep"
    days = [f"t{day.at:.0f}" for day in ahead.days]
    wrong = Faults() if wrong is None else wrong
    for name, text in typed.unread.items():
        wrong.add(name if name in days else "", w("redraw.unread", text=text))
    if asks and not typed.points and not typed.unread:
        wrong.add(days[0], w("redraw.empty"))
    return page(
        request, context, visitor, "redraw.html", 422 if asks or wrong else 200,
        place=known_place(context.snapshot(), place), ahead=ahead, days=len(ahead.days),
        more=min(len(ahead.days) * 2, MOST_DAYS), typed=meant, wrong=wrong,
        anew=[None if drawn is None else drawn.at(day.at - 1e-3) for day in ahead.days],
        asked=[asked(one, w) for one in ahead.questions], sure=_meant(typed.points),
        query=urlencode(kept), charts=drawing.available(),
        samples=samples(sheet), sheet=sheet,
    )  # fmt: skip


def asked(question: Question, w: Translator) -> str:
    """A question in the visitor's language."""
    fields: dict[str, Any] = dict(question.fields)
    if "measure" in fields:
        fields["measure"] = w(f"sheet.{fields['measure']}")
    return w(f"ask.{question.key}", **fields)


def sheet_of(context: PageContext, place: str) -> BatchSheet | None:
    """The sheet of the batch that runs in a place."""
    runs = running_in(context.books().stays(), place)
    return None if runs is None else context.books().sheet(place, runs.key)


def samples(sheet: BatchSheet | None) -> list[SheetDay]:
    """The days that have an analysis, the newest first, a handful."""
    known = [
        day
        for day in (() if sheet is None else sheet.days)
        if any(one is not None for one in (day.baume, day.alcohol, day.acidity, day.amino))
    ]
    return known[::-1][:6]


# The day's figures, as they are read at the tank.


@router.get("/place/{place}/sample")
def sample(request: Request, context: Context, visitor: Somebody, place: str) -> Response:
    told = request.query_params.get("told", "")
    kept = [known_entry(context, place, told + part) for part in PARTS] if told else []
    return _sample_page(request, context, visitor, place, {}, told=[one for one in kept if one])


@router.post("/place/{place}/sample")
def write_sample(
    request: Request, context: Context, visitor: Somebody, place: str, form: TheForm
) -> Response:
    """The hand thermometer's reading, the analysis and a note, each an entry of its own. Nothing is
    written while one of them cannot be read or is asked about."""
    w = context.translator(visitor.language)
    brewing_place(context.snapshot(), place)
    filled = Filled(form, w, "sheet")
    entries, wrong = _entries(filled), filled.wrong
    if not wrong and not entries:
        wrong.add(BY_HAND, w("sample.empty"))
    questions = [] if wrong else [*_questions(entries, context, visitor, place, w)]
    meant = " ".join(f"{n}={v}" for fields in entries.values() for n, v in fields.items())
    if wrong or (questions and form.get("sure") != meant):
        return _sample_page(request, context, visitor, place, form, wrong, questions, meant)
    own = own_id(form) or {"id": str(uuid4())}
    outcomes = {
        part: tell({**fields, "id": own["id"] + part}, place, context, visitor)
        for part, fields in entries.items()
    }
    failed = {part for part, outcome in outcomes.items() if outcome.state == "refused"}
    if not failed:
        return led(f"/place/{place}/sample", Outcome(own["id"], "kept"), place)
    kept = [known_entry(context, place, own["id"] + part) for part in outcomes.keys() - failed]
    left = {name: form[name] for part in failed for name in entries[part] if name in form}
    reasons = Faults()
    for part in sorted(failed):
        reasons |= refused(outcomes[part], form, w)
    told = [one for one in kept if one]
    return _sample_page(request, context, visitor, place, left, reasons, told=told)


def _entries(filled: Filled) -> dict[str, dict[str, Any]]:
    """What was filled in, by the part of the form: the end of the entry's id."""
    hand, text = filled.number(BY_HAND), filled.text("text")
    read = {name: filled.number(name) for name in ANALYSED}
    told = {name: value for name, value in read.items() if value is not None}
    found: dict[str, dict[str, Any]] = {}
    if any(name in told for name in ANALYSED[:-1]):
        found[""] = {"entry": "sample", **told}
    if hand is not None:
        found["-check"] = {"entry": "check", "celsius": hand}
    if text:
        found["-note"] = {"entry": "note", "text": text}
    return found


def _questions(
    entries: dict[str, dict[str, Any]], context: PageContext, visitor: Visitor, place: str,
    w: Translator,
) -> Iterator[str]:  # fmt: skip
    """What is to be asked about, or cannot be, before any of it is written."""
    for fields in entries.values():
        one = asks(fields, context.snapshot(), place, context.house, w)
        if one:
            yield one
        made = entry_from(dict(fields), place, context.house, context.clock(), "page", visitor.by)
        if not isinstance(made, Refusal) and isinstance(made.entry, e.Sample):
            yield from (asked(each, w) for each in context.books().sample(made))


def _sample_page(
    request: Request, context: PageContext, visitor: Visitor, place: str, form: dict[str, str],
    wrong: Faults | None = None, questions: Sequence[str] = (), meant: str = "",
    told: Sequence[ToldEntry] = (),
) -> Response:  # fmt: skip
    if not visitor.may("log"):
        raise NotAllowed
    sheet = sheet_of(context, place)
    return page(
        request, context, visitor, "sample.html", 422 if wrong or questions else 200,
        place=brewing_place(context.snapshot(), place), typed=form, wrong=wrong or Faults(),
        asked=questions, sure=meant, samples=samples(sheet), sheet=sheet, told=told,
        fields=(BY_HAND, *ANALYSED),
    )  # fmt: skip


# For programs.


@dataclass(frozen=True, slots=True)
class Planned:
    """What the plan has for the turn of a brewery day, °C, and what it had at first."""

    at: str
    day: int | None
    planned: float
    first: float


@programs.get("/places/{place}/plan", summary="The plan of the coming days")
def coming(
    context: Context, visitor: Somebody, place: Subject,
    days: Annotated[int, Query(ge=1, le=MOST_DAYS)] = DAYS,
) -> list[Planned]:  # fmt: skip
    ahead = context.books().ahead(place, days, ()) if place in context.house.place else None
    if ahead is None:
        raise HTTPException(404, f"no batch runs in {place}; /batches lists those that do")
    zone = context.house.zone
    return [
        Planned(show_time(day.at, zone), day.day, round(day.planned, 3), round(day.first, 3))
        for day in ahead.days
    ]
