"""The batches: those that run, those that ended; one begun, taken over in the middle, or ended."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator
from datetime import datetime
from typing import NamedTuple

from fastapi import APIRouter, Request
from fastapi.responses import Response
from starlette.exceptions import HTTPException

from kuraban.core.planned_curve import Course, Stage
from kuraban.core.site import Place
from kuraban.core.units import DAY, HOUR, day_turn, show_time
from kuraban.core.views.batch_sheet import BatchStay
from kuraban.core.views.side_by_side import YEAR, ran_at
from kuraban.edges.web.forms.form_fields import (
    Faults,
    Filled,
    Form,
    TheForm,
    led,
    own_id,
    refused,
)
from kuraban.edges.web.forms.submit_entry import tell, told_entry
from kuraban.edges.web.page_context import Context, NotAllowed, PageContext, Somebody, Visitor
from kuraban.edges.web.templating import page
from kuraban.edges.web.translator import Translator

router = APIRouter(include_in_schema=False)

MOST_ENDED = 60


class Wanted(NamedTuple):
    """What a form spells, as far as it can be read; `wrong` says what would be right, `asked` are
    sentences that only ask whether it is meant."""

    entry: dict[str, object]
    wrong: Faults
    asked: tuple[str, ...] = ()


@router.get("/batches")
def batches(request: Request, context: Context, visitor: Somebody) -> Response:
    every = context.books().stays()
    order = list(context.house.place)
    running = [stay for stay in every if stay.end is None and stay.place in order]
    return page(
        request, context, visitor, "batches.html",
        running=sorted(running, key=lambda stay: order.index(stay.place)),
        ended=[stay for stay in every if stay.end is not None][:MOST_ENDED],
        ago=ran_at(every, context.clock() - YEAR),
        manages=visitor.may("manage"), told=told_entry(request, context),
    )  # fmt: skip


@router.get("/batches/start")
def ask_start(request: Request, context: Context, visitor: Somebody) -> Response:
    """First the place and the course, then what belongs to that course."""
    return _start_page(request, context, visitor, dict(request.query_params))


@router.get("/batches/end/{place}")
def ask_end(request: Request, context: Context, visitor: Somebody, place: str) -> Response:
    return _end_page(request, context, visitor, place, {})


def running_in(stays: tuple[BatchStay, ...], place: str) -> BatchStay | None:
    return next((stay for stay in stays if stay.place == place and stay.end is None), None)


# A batch begins.


@router.post("/batches/start")
def start(request: Request, context: Context, visitor: Somebody, form: TheForm) -> Response:
    w = context.translator(visitor.language)
    wanted = started(form, context, w)
    if wanted.wrong or (wanted.asked and not _sure(form, wanted.asked)):
        return _start_page(request, context, visitor, form, wanted)
    place = form["place"]
    outcome = tell({**wanted.entry, **own_id(form)}, place, context, visitor)
    if outcome.state == "refused":
        wanted = Wanted({}, refused(outcome, form, w))
        return _start_page(request, context, visitor, form, wanted)
    return led("/batches", outcome, place)


def _sure(form: Form, asked: tuple[str, ...]) -> bool:
    """Whether somebody pressed that it is meant so, having been asked just this."""
    return form.get("sure", "").splitlines() == list(asked)


def _start_page(
    request: Request, context: PageContext, visitor: Visitor, form: dict[str, str],
    wanted: Wanted | None = None,
) -> Response:  # fmt: skip
    if not visitor.may("manage"):
        raise NotAllowed
    w, house = context.translator(visitor.language), context.house
    stays = context.books().stays()
    place, course = house.place.get(form.get("place", "")), house.course.get(form.get("course", ""))
    chosen = place is not None and course is not None
    unfit = _unfit(place, course, stays, w) if place and course else Faults()
    brewing = [one for one in house.places if one.brews]
    return page(
        request, context, visitor, "batch_start.html", 200 if wanted is None else 422,
        places=[(one, running_in(stays, one.id)) for one in brewing],
        kinds=dict.fromkeys(one.kind for one in brewing), courses=house.courses,
        place=place, course=course, step=2 if chosen and not unfit else 1, typed=form,
        wrong=unfit if wanted is None else wanted.wrong,
        asked=() if wanted is None or wanted.wrong else wanted.asked,
        suggested=next_name(stays),
        counts=course is not None and course.day_one is not None,
    )  # fmt: skip


def started(form: Form, context: PageContext, w: Translator) -> Wanted:
    """The entry that a form spells, and everything that is wrong with it at once."""
    house, stays = context.house, context.books().stays()
    place, course = house.place.get(form.get("place", "")), house.course.get(form.get("course", ""))
    filled = Filled(form, w, "batches")
    name, title, wrong = filled.text("batch"), filled.text("title"), filled.wrong
    if place is None or course is None:
        lacking = "course" if place else "place"
        return Wanted({}, Faults({lacking: w("batches.choose")}))
    wrong.update(_unfit(place, course, stays, w))
    entry: dict[str, object] = {"entry": "batch-start", "batch": name, "course": course.id}
    if not name:
        wrong.add("batch", w("batches.unnamed", name=next_name(stays)))
    now = context.clock()
    at = filled.moment("at")
    if at is not None and at > now + HOUR / 12:
        wrong.add("at", w("batches.ahead", when=w.clock(at)))
    kg = filled.number("rice_kg")
    begun = at if at is not None else now
    entry |= {} if at is None else {"at": show_time(at, house.zone)}
    entry |= {} if kg is None else {"rice_kg": kg}
    entry |= {"title": title} if title else {}
    if form.get("stage"):
        entry |= _taken_over(filled, course, begun, context, w)
    return Wanted(entry, wrong, tuple(_known_name(name, place, context, stays, w)))


def _unfit(place: Place, course: Course, stays: tuple[BatchStay, ...], w: Translator) -> Faults:
    """A place where one runs, or a course for another kind of place: with what would be right."""
    runs = running_in(stays, place.id)
    house, found = w.house, Faults()
    if runs is not None:
        free = [one.name for one in house.places
                if one.kind == place.kind and running_in(stays, one.id) is None]  # fmt: skip
        found.add("place", w(
            "batches.taken", batch=runs.title or runs.name, place=place.name,
            when=w.date(runs.start), free=w.listed(free) or None,
        ))  # fmt: skip
    if place.kind not in course.for_:
        fit = [w.text(one.title) or one.id for one in house.courses if place.kind in one.for_]
        kinds = w.listed(w(f"batches.kind-{kind}") for kind in course.for_)
        found.add("course", w(
            "batches.unfit", course=w.text(course.title) or course.id, kinds=kinds,
            place=place.name, fit=w.listed(fit) or "–",
        ))  # fmt: skip
    return found


def _known_name(
    name: str, place: Place, context: PageContext, stays: tuple[BatchStay, ...], w: Translator
) -> Iterator[str]:
    """A batch may stand in a starter and a tank, but two tanks are rarely one batch."""
    for stay in stays:
        other = context.house.place.get(stay.place)
        if other is not None and other.kind == place.kind and _alike(stay.name, name):
            key = "batches.name-runs" if stay.end is None else "batches.name-ran"
            yield w(key, name=stay.name, place=other.name, when=w.date(stay.start),
                    free=next_name(stays))  # fmt: skip
            return


def stage_name(w: Translator, stage: Stage) -> str:
    return w.text(stage.title) or stage.id


def _letters(name: str) -> str:
    """A name in narrow letters and figures: they are one to whoever reads it."""
    return unicodedata.normalize("NFKC", name).strip()


def _alike(one: str, other: str) -> bool:
    return _letters(one).casefold() == _letters(other).casefold()


def next_name(stays: tuple[BatchStay, ...]) -> str:
    """The newest name with its number counted on, beyond all that are taken."""
    taken = {_letters(stay.name).casefold() for stay in stays}
    for stay in stays:
        found = re.search(r"(\d+)(\D*)$", _letters(stay.name))
        if found is None:
            continue
        count, head = int(found[1]) + 1, _letters(stay.name)[: found.start()]
        while f"{head}{count}{found[2]}".casefold() in taken:
            count += 1
        return f"{head}{count}{found[2]}"
    return "No. 1"


def _taken_over(
    filled: Filled, course: Course, begun: float, context: PageContext, w: Translator
) -> dict[str, object]:
    """A stage that goes on already: since when, by the day of today or the hours in it."""
    named, wrong = filled.text("stage"), filled.wrong
    index = course.index(named)
    if index is None:
        names = w.listed(stage_name(w, stage) for stage in course.stages)
        wrong.add("stage", w("batches.no-stage", course=w.text(course.title), stages=names))
        return {}
    day, hours = filled.number("day"), filled.number("hours")
    first = first_day(course, index)
    since = begun
    if day is not None and first is None:
        wrong.add("day", w("batches.uncounted", stage=stage_name(w, course.stages[index])))
    elif day is not None and first is not None:
        turned = day_turn(begun, context.house.site.day_starts, context.house.zone)
        since = min(turned - round(day - first) * DAY, begun)
        fits = stage_on(course, day)
        if fits is not None and fits != index:
            wrong.add("day", w(
                "batches.other-stage", stage=stage_name(w, course.stages[index]),
                first=f"{first:g}", day=f"{day:g}", right=stage_name(w, course.stages[fits]),
            ))  # fmt: skip
    elif hours is not None:
        since = begun - hours * HOUR
        if hours < 0:
            wrong.add("hours", w("batches.negative"))
    return {"stage": named, "since": show_time(since, context.house.zone)}


def first_day(course: Course, index: int) -> int | None:
    """The moromi day on which a stage begins by the course; None before its first day."""
    one = None if course.day_one is None else course.index(course.day_one)
    if one is None or index < one:
        return None
    return 1 + round(sum(stage.length for stage in course.stages[one:index]) / DAY)


def stage_on(course: Course, day: float) -> int | None:
    """The stage of a moromi day by the course; the last one goes on for as long as it takes."""
    begins = [(index, first_day(course, index)) for index in range(len(course.stages))]
    found = [index for index, first in begins if first is not None and first <= day]
    return found[-1] if found else None


# A batch ends.


@router.post("/batches/end/{place}")
def end(
    request: Request, context: Context, visitor: Somebody, place: str, form: TheForm
) -> Response:
    w = context.translator(visitor.language)
    filled, runs = Filled(form, w, "batches"), _running(context, place)
    goals = [one for one in _tanks(context, place) if form.get(f"to-{one.id}")]
    rest, wrong = bool(form.get("rest")), filled.wrong
    if rest and not goals:
        wrong.add("rest", w("batches.rest-where"))
    at = filled.moment("at")
    if at is not None and not runs.start < at <= context.clock() + HOUR / 12:
        wrong.add("at", w("batches.end-when", start=w.date(runs.start)))
    if wrong:
        return _end_page(request, context, visitor, place, form, wrong)
    dated = {} if at is None else {"at": show_time(at, context.house.zone)}
    pressed = {"entry": "press", "to": [one.id for one in goals], "rest": rest}
    fields = {**(pressed if goals else {"entry": "batch-end"}), **dated, **own_id(form)}
    outcome = tell(fields, place, context, visitor)
    if outcome.state == "refused":
        return _end_page(request, context, visitor, place, form, refused(outcome, form, w))
    return led("/batches", outcome, place)


def _tanks(context: PageContext, place: str) -> list[Place]:
    """Into which a mash can be pressed; none for what is no mash."""
    known = context.snapshot().place(place)
    if known is None or known.kind != "tank" or not known.is_mash:
        return []
    return [one for one in context.house.places if one.kind == "tank" and one.id != place]


def _running(context: PageContext, place: str) -> BatchStay:
    runs = running_in(context.books().stays(), place)
    if runs is None or place not in context.house.place:
        raise HTTPException(404)
    return runs


def _end_page(
    request: Request, context: PageContext, visitor: Visitor, place: str, form: dict[str, str],
    wrong: Faults | None = None,
) -> Response:  # fmt: skip
    if not visitor.may("manage"):
        raise NotAllowed
    stay = _running(context, place)
    return page(
        request, context, visitor, "batch_end.html", 422 if wrong else 200, stay=stay,
        typed=form, wrong=wrong or Faults(), tanks=_tanks(context, place),
        now=datetime.fromtimestamp(context.clock(), context.house.zone),
    )  # fmt: skip
