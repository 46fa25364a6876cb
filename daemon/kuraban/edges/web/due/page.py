"""The work due on one page: what is late, what comes today and after, and who did what is done."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import msgspec
from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response
from starlette.exceptions import HTTPException

from kuraban.core import entries as e
from kuraban.core.facts import Logged
from kuraban.core.site import WATCH, House, Swap
from kuraban.core.units import DAY, show_time
from kuraban.core.views.snapshot import Text
from kuraban.core.views.work_due import Kind, Work, works_due
from kuraban.edges.web import history_queries as past
from kuraban.edges.web.forms.form_fields import TheForm
from kuraban.edges.web.page_context import Context, NotAllowed, PageContext, Somebody
from kuraban.edges.web.programs.api import PREFIX, REFUSALS
from kuraban.edges.web.templating import page
from kuraban.edges.web.translator import Translator
from kuraban.errors import JournalError, MachineError

router = APIRouter(include_in_schema=False)
programs = APIRouter(prefix=PREFIX, responses=REFUSALS)

SHOWN = 7 * DAY
DID = (
    e.StageMark, e.Addition, e.CaskIn, e.CaskOut, e.Handwork, e.Check, e.Sample, e.Acknowledge,
    e.BatchStart, e.BatchEnd, e.Press, e.Move, e.Split, e.Merge,
)  # fmt: skip
"""What is told as done beside the stir rounds."""


@router.get("/due")
def due(request: Request, context: Context, visitor: Somebody) -> Response:
    """Rounds and duties of today alone: of the days ahead they would be most of the list."""
    snapshot, w = context.snapshot(), context.translator(visitor.language)
    works, made = read(context)
    open_ = [one for one in works if one.done is None]
    late = [one for one in open_ if one.late(snapshot.at)]
    coming = [one for one in open_ if one not in late]
    today = [one for one in coming if one.at < snapshot.day_turns]
    ahead = [
        one
        for one in coming
        if snapshot.day_turns <= one.at < snapshot.at + SHOWN and one.kind not in ("round", "duty")
    ]
    feed = context.feeds.of(visitor.by or "")
    token = None if feed is None else context.signer.feed(feed)
    return page(
        request, context, visitor, "due.html", late=late, today=today, ahead=ahead,
        rounds=[one for one in works if one.kind == "round" and one.done is not None],
        done=[one for one in made if isinstance(one.entry, DID) and one.at >= snapshot.day_turned],
        what=lambda work: what(work, w), link=link, day_turns=snapshot.day_turns,
        cautions=list(dict.fromkeys(one.caution for one in (*late, *today) if one.caution)),
        mine=visitor.by if visitor.by in context.house.person else None,
        feed=None if token is None else f"{request.base_url}calendar/{token}.ics",
    )  # fmt: skip


@router.post("/due/calendar")
def calendar(context: Context, visitor: Somebody, form: TheForm) -> Response:
    """A person's own calendar gets a new address, or none; a manager may withdraw anybody's."""
    person, withdraws = form.get("person", ""), form.get("do") == "withdraw"
    if person not in context.house.person:
        raise HTTPException(404)
    if person != visitor.by and not (withdraws and visitor.may("manage")):
        raise NotAllowed
    try:
        (context.feeds.withdraw if withdraws else context.feeds.renew)(person)
    except MachineError as error:
        raise HTTPException(503, str(error)) from error
    return RedirectResponse("/due#calendar" if person == visitor.by else "/setup#calendars", 303)


def read(context: PageContext) -> tuple[tuple[Work, ...], list[Logged]]:
    """The work due, and what was entered since the day before; without the journal by the picture
    alone."""
    snapshot, house = context.snapshot(), context.house
    try:
        with past.reading(context.history) as history:
            end = snapshot.at + 1.0
            made = list(history.counting(None, snapshot.day_turned - DAY, end))
            swaps = tuple(_swaps(list(history.counting(WATCH, end - 400 * DAY, end))))
    except JournalError:
        made, swaps = [], ()
    return works_due(snapshot, msgspec.structs.replace(house, swaps=swaps), made), made


def _swaps(entries: Sequence[Logged]) -> list[Swap]:
    return [
        Swap(first=one.entry.from_, second=one.entry.to, day=one.entry.day, role=one.entry.role)
        for one in entries
        if isinstance(one.entry, e.DutySwap)
    ]


def what(work: Work, w: Translator) -> str:
    """A work in a few words."""
    role = w(f"rings.role-{work.subject}") if work.kind == "duty" else ""
    return w(
        f"due.{work.kind}", name=role or w.place(work.subject) if work.subject else None,
        stage=None if work.stage is None else w.text(work.stage),
        condition=None if work.condition is None else w.condition(work.condition),
        left=work.left and work.left[0], of=work.left and work.left[1],
        who=w.person(work.person), until=w.clock(work.until) or None,
    )  # fmt: skip


def link(work: Work) -> str:
    """Where the work is told of, or logged."""
    match work.kind:
        case "round":
            return "/round"
        case "press":
            return f"/batches/end/{work.subject}"
        case "cooler":
            return f"/coolers/{work.subject}"
        case "promise" | "duty":
            return "/rings"
        case _:
            return f"/place/{work.subject}"


# For programs.


@dataclass(frozen=True, slots=True)
class Due:
    """A work. `key` stays while it is the same work; `left` are tanks not stirred, and of how many;
    `done` is when it was done, by whom; `until` the end of a duty."""

    key: str
    kind: Kind
    subject: str
    at: str
    until: str | None
    stage: Text | None
    condition: str | None
    person: str | None
    left: tuple[int, int] | None
    late: bool
    done: str | None
    by: list[str]


@programs.get("/due", summary="The work due in the days ahead, and what of today's is done")
def all_due(context: Context, visitor: Somebody) -> list[Due]:
    works, _ = read(context)
    now = context.snapshot().at
    return [_due(one, context.house, now) for one in works]


def _due(work: Work, house: House, now: float) -> Due:
    def told(at: float | None) -> str | None:
        return None if at is None else show_time(at, house.zone)

    return Due(
        key=work.key, kind=work.kind, subject=work.subject, at=show_time(work.at, house.zone),
        until=told(work.until), stage=work.stage, condition=work.condition, person=work.person,
        left=work.left, late=work.late(now), done=told(work.done), by=list(work.by),
    )  # fmt: skip
