"""One place: what it did, what to expect before a stir, and the buttons for what is done there."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any, Literal

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, JSONResponse, RedirectResponse, Response
from starlette.exceptions import HTTPException

from kuraban.core import entries as e
from kuraban.core.units import DAY, HOUR, MINUTE, show_time
from kuraban.core.views.snapshot import PlaceNow, Snapshot
from kuraban.core.views.work_due import cautions
from kuraban.edges.web import history_queries as past
from kuraban.edges.web.drawing import figures as drawing
from kuraban.edges.web.drawing import long_charts as lines
from kuraban.edges.web.forms.form_fields import Faults, TheForm, led, refused
from kuraban.edges.web.forms.questions import ABOUT, asks
from kuraban.edges.web.forms.submit_entry import Outcome, fields_of, tell, told_entry, unread
from kuraban.edges.web.page_context import Context, PageContext, Somebody, Visitor
from kuraban.edges.web.templating import fill, page
from kuraban.edges.web.translator import Translator
from kuraban.errors import JournalError

NOT_DONE = frozenset({"refused", "repeated"})
"""What came to nothing, and what said once more what another entry says: neither was done."""
router = APIRouter(include_in_schema=False)

Range = Literal["day", "stir", "morning", "soe", "batch"]
RANGES: tuple[Range, ...] = ("day", "stir", "morning", "soe", "batch")
MOST_ROWS = 48
DONE_SHOWN = 12
LONGEST_BATCH = 60 * DAY
BACK = {"batches": "/batches", "round": "/round", "rings": "/rings", "cellar": "/", "koji": "/koji"}
"""Where a form may lead back to, by what it says."""
ICE = "setup/ice/"
"""Before a probe's id: back to its ice bath."""


@router.get("/place/{place}")
def one_place(request: Request, context: Context, visitor: Somebody, place: str) -> HTMLResponse:
    return show(request, context, visitor, place)


@router.get("/place/{place}/curve.svg")
def curve(
    request: Request,
    context: Context,
    visitor: Somebody,
    place: str,
    tone: drawing.Tone = "day",
    size: drawing.Shape = "page",
) -> Response:
    """The curve of the range asked for, by day or by night."""
    snapshot = context.snapshot()
    known = known_place(snapshot, place)
    start, _ = span(snapshot, known, asked_range(request))
    w = context.translator(visitor.language)
    return drawing.answer(context, w, known, start, tone=tone, size=size)


@router.get("/place/{place}/curve.json")
def touched(request: Request, context: Context, visitor: Somebody, place: str) -> Response:
    """The points of the same curve, for a finger on it."""
    snapshot = context.snapshot()
    known = known_place(snapshot, place)
    start, end = span(snapshot, known, asked_range(request))
    with past.reading(context.history) as history:
        step = past.step_for(end - start, drawing.MOST_POINTS)
        points = past.curve(history, context.house, place, start, end, step)
    return lines.readout(
        context.translator(visitor.language), start, drawing.shown_until(start, snapshot.at),
        tuple((one.at, one.value) for one in points),
        None if known.batch is None else known.batch.plan,
    )  # fmt: skip


def _back(asked: str, own: str, context: PageContext) -> str:
    """Where a form leads back to: nowhere but to a page of ours."""
    probe = asked.removeprefix(ICE)
    if asked.startswith(ICE) and probe in context.house.probe:
        return f"/{ICE}{probe}"
    if asked.removeprefix("coolers/") in context.house.cooler:
        return f"/coolers/{asked.removeprefix('coolers/')}"
    return BACK.get(asked, own)


@router.get("/log/{subject}")
def logged(context: Context, subject: str) -> Response:
    """Where a form came back to, opened anew: the page of what it was about."""
    return RedirectResponse(_page_of(subject, context), 303)


def _page_of(subject: str, context: PageContext) -> str:
    if subject in context.house.cooler:
        return f"/coolers/{subject}"
    return f"/place/{subject}" if subject in context.house.place else "/rings"


@router.post("/log/{subject}")
def log(
    request: Request, context: Context, visitor: Somebody, subject: str, form: TheForm
) -> Response:
    """One tap. A browser is led on to where it came from, a script is told what became of it."""
    told = fields_of(form, context)
    if "at" in told:
        form = {**form, "when": str(told["at"])}
    visitor = _maker(form, context, visitor)
    outcome, wrong = _judged(told, form, subject, context, visitor)
    if "application/json" in request.headers.get("accept", ""):
        status = {"kept": 200, "waiting": 202, "refused": 422, "asked": 422}[outcome.state]
        told = {
            "id": outcome.id,
            "state": outcome.state,
            "reason": context.translator(visitor.language).reason(outcome.reason),
        }
        return JSONResponse({**told, **({"wrong": wrong} if wrong else {})}, status)
    if outcome.state not in ("refused", "asked"):
        own = _page_of(subject, context)
        return led(_back(form.get("back", ""), own, context), outcome, subject)
    if subject not in context.house.place or told.get("entry") == "shelve":  # no form of it there
        return page(
            request, context, visitor, "refused.html", 422, outcome=outcome, form=form,
            subject=subject, wrong=wrong,
        )  # fmt: skip
    return show(request, context, visitor, subject, outcome, form, wrong)


def _judged(
    told: Any, form: Mapping[str, str], subject: str, context: PageContext, visitor: Visitor
) -> tuple[Outcome, Faults]:
    """What became of a tap, and what is wrong with it or asked about it, field by field."""
    w, own = context.translator(visitor.language), str(told.get("id", ""))
    unread = no_numbers(told, w)
    if unread:
        return Outcome(own, "refused", " ".join(unread.values())), unread
    snapshot = context.snapshot()
    question = "" if form.get("sure") else asks(told, snapshot, subject, context.house, w)
    if question:
        about = Faults({ABOUT[form["entry"]]: f"{question} {w('ask.once-more')}"})
        return Outcome(own, "asked", question), about
    outcome = tell(told, subject, context, visitor)
    return outcome, refused(outcome, form, w) if outcome.state == "refused" else Faults()


def _maker(form: Mapping[str, str], context: PageContext, visitor: Visitor) -> Visitor:
    """Without accounts everybody says who they are: whoever was, when a tap was made."""
    if context.accounts or "maker" not in form:
        return visitor
    known = form["maker"] in context.house.person
    return replace(visitor, by=form["maker"] if known else None)


def no_numbers(told: Mapping[str, object], w: Translator) -> Faults:
    """What was typed for a number and is none, and how one is written."""
    return Faults({
        name: w("told.unread", field=w(f"reason-field.{name.replace('_', '-')}"), text=text)
        for name, text in unread(told).items()
    })  # fmt: skip


def show(
    request: Request, context: PageContext, visitor: Visitor, place: str,
    outcome: Outcome | None = None, form: Mapping[str, str] | None = None,
    wrong: Faults | None = None,
) -> HTMLResponse:  # fmt: skip
    """The page; after a refusal with the reason, and with everything that was typed."""
    typed = dict(form or {})
    named = typed.get("form", typed.get("entry", ""))
    typed["form"] = named.removesuffix(f"-{place}")  # as a page of many places calls it
    snapshot = context.snapshot()
    known = known_place(snapshot, place)
    range_ = asked_range(request)
    fields: dict[str, Any] = {
        "snapshot": snapshot,
        "place": known,
        "rings": snapshot.rings_of(place),
        "unconfirmed": snapshot.unconfirmed_of(place),
        "range": range_,
        "ranges": [one for one in RANGES if _known(snapshot, known, one)],
        "charts": drawing.available(),
        "outcome": outcome,
        "typed": typed,
        "wrong": wrong or Faults(),
        "told": told_entry(request, context),
        "may_log": visitor.may("log"),
        "manages": visitor.may("manage"),
        **behind(context, snapshot, known, range_),
        "turns": show_time(snapshot.day_turns, context.house.zone),
        **forms(context, known),
    }
    sake = known.kind == "tank" and known.batch is not None and not known.is_mash
    fields["cautions"] = cautions(known, context.house)
    fields["sake"] = context.books().stood(place) if sake else None
    status = 200 if outcome is None else 422
    return page(request, context, visitor, "place.html", status, **fields)


def behind(
    context: PageContext, snapshot: Snapshot, place: PlaceNow, range_: Range
) -> dict[str, Any]:
    """What the journal tells of the place; nothing where it cannot be read."""
    start, end = span(snapshot, place, range_)
    stirred = place.last_stir
    try:
        with past.reading(context.history) as history:
            step = past.step_for(end - start, drawing.MOST_POINTS)
            points = past.curve(history, context.house, place.id, start, end, step)
            begun = max(stirred or snapshot.day_turned, end - 2 * DAY)
            done = past.done(history, place.id, min(start, end - 3 * DAY), end + HOUR)
            recent = past.curve(
                history, context.house, place.id, begun, end, 5 * MINUTE, place.doubts
            )
            kept = past.shortened(history, context.house, place.id, start, end)
    except JournalError:
        nothing: dict[str, Any] = {"rows": [], "since": None, "done": [], "kept": (), "step": HOUR}
        return {**nothing, "start": start, "unread": True}
    plan = None if place.batch is None else place.batch.plan
    rows_step = past.step_for(end - start, MOST_ROWS)
    return {
        "rows": past.table(points, plan, done, start, end, rows_step),
        "since": past.since(recent, begun),
        "done": [one for one in done[::-1] if one.fate not in NOT_DONE][:DONE_SHOWN],
        "kept": kept,
        "step": rows_step,
        "start": start,
        "unread": False,
    }


def forms(context: PageContext, place: PlaceNow) -> dict[str, Any]:
    """What the buttons need to know."""
    return {
        "ingredients": e.Ingredient.__args__,  # type: ignore[attr-defined]
        "courses": [course for course in context.house.courses if place.kind in course.for_],
        "aims": ("-0.5", "-0.1", "0.1", "0.5"),
    }


def known_place(snapshot: Snapshot, place: str) -> PlaceNow:
    known = snapshot.place(place)
    if known is None:
        raise HTTPException(404)
    return known


def brewing_place(snapshot: Snapshot, place: str) -> PlaceNow:
    """A place in which there may be a mash, a starter or koji; 404 for another."""
    known = known_place(snapshot, place)
    if not known.brews:
        raise HTTPException(404)
    return known


def asked_range(request: Request) -> Range:
    asked = request.query_params.get("range")
    return next((one for one in RANGES if one == asked), "day")


def span(snapshot: Snapshot, place: PlaceNow, range_: Range) -> tuple[float, float]:
    """From when to when a range goes."""
    end = snapshot.at
    start = _start(snapshot, place, range_)
    return max(end - DAY if start is None else start, end - LONGEST_BATCH), end


def _known(snapshot: Snapshot, place: PlaceNow, range_: Range) -> bool:
    return _start(snapshot, place, range_) is not None


def _start(snapshot: Snapshot, place: PlaceNow, range_: Range) -> float | None:
    batch = place.batch
    if range_ == "day":
        return snapshot.at - DAY
    if range_ == "morning":
        return snapshot.day_turned
    if range_ == "stir":
        return place.last_stir
    if batch is None:
        return None
    if range_ == "soe":
        return next((s.start for s in batch.plan.stretches if s.stage == "soe"), None)
    return batch.since


def parts(
    context: PageContext, w: Translator, snapshot: Snapshot, may_log: bool, place: str
) -> dict[str, str]:
    """The parts of an open page that change by themselves."""
    known = snapshot.place(place)
    if known is None:
        return {}
    fields = {
        "place": known, "rings": snapshot.rings_of(place), "snapshot": snapshot, "token": "",
        "unconfirmed": snapshot.unconfirmed_of(place), "may_log": may_log,
    }  # fmt: skip
    return {"now": fill("_now.html", w, **fields), "here": fill("_here.html", w, **fields)}
