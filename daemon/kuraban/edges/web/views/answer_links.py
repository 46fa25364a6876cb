"""One ring, one button: where the links in messages lead; in the morning three, was it worth it?

Messengers fetch every link that they carry, so opening one does nothing. Only the button acts; its
entry is made by the person to whom the message went, and is one entry however often it is pressed.
The token is all that is asked for: at three in the morning nobody remembers a password.
"""

from __future__ import annotations

from typing import Annotated, Literal

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from kuraban.core import entries as e
from kuraban.core.facts import Logged
from kuraban.core.units import HOUR, show_time
from kuraban.core.views.equipment_views import CoolerNow
from kuraban.core.views.snapshot import Ring
from kuraban.edges.signing import Link, entry_id
from kuraban.edges.web import history_queries as past
from kuraban.edges.web.forms.submit_entry import tell
from kuraban.edges.web.page_context import Anybody, Context, PageContext, Visitor
from kuraban.edges.web.templating import page
from kuraban.errors import JournalError

router = APIRouter(include_in_schema=False)

RUN_FOR, RUN_MORE = "3h", 0.3
State = Literal["ready", "done", "taken", "over", "later", "old", "forged"]
STATUS: dict[State, int] = {
    "ready": 200, "done": 200, "taken": 200, "over": 200, "later": 410, "old": 410, "forged": 404,
}  # fmt: skip


@router.get("/a/{token}")
def ask(request: Request, context: Context, visitor: Anybody, token: str) -> HTMLResponse:
    """Shows the ring and its button; changes nothing."""
    link = context.signer.read_link(token)
    state, did = _state(context, link)
    return _page(request, context, visitor, link, state, did)


@router.post("/a/{token}")
def answer(
    request: Request, context: Context, visitor: Anybody, token: str,
    was: Annotated[str | None, Form()] = None,
    within: Annotated[str | None, Form(alias="for", max_length=8)] = None,
    text: Annotated[str | None, Form(max_length=400)] = None,
) -> Response:  # fmt: skip
    """The button was pressed; `was` is the one of the three, `for` says how long it may take, and
    `text` what was found and done."""
    link = context.signer.read_link(token)
    state, did = _state(context, link)
    noted = text is not None and link is not None and _writes(link, state)
    if link is None or (state != "ready" and not noted):
        return _page(request, context, visitor, link, state, did)
    fields: dict[str, object] = {"entry": "note", "text": text}
    if not noted:
        fields = _fields(context, link, was, within)
    as_person = Visitor(visitor.visit, "log", link.person, visitor.language)
    outcome = tell(fields, link.subject, context, as_person, "link")
    if outcome.state == "refused":
        return _page(request, context, visitor, link, "over", None, outcome.reason)
    return RedirectResponse(f"/a/{token}", 303)


def _writes(link: Link, state: State) -> bool:
    """Whether it may say what was found and done, by whoever has its ring."""
    return link.act == "acknowledge" and state in ("done", "taken", "over")


def _fields(
    context: PageContext, link: Link, was: str | None, within: str | None
) -> dict[str, object]:
    """The entry that a link makes. A verdict is about the rings before its message, so it bears
    that time: the alarm may have rung again since."""
    at = link.at if link.act == "verdict" else context.clock()
    fields: dict[str, object] = {
        "entry": link.act, "id": entry_id(link), "at": show_time(at, context.house.zone)
    }  # fmt: skip
    match link.act:
        case "acknowledge":
            promised = {"for": within} if within else {}
            return fields | {"condition": link.condition} | promised
        case "let-run":
            return fields | {"for": RUN_FOR, "more": RUN_MORE}
        case "verdict":
            return fields | {"alarm": f"{link.subject}/{link.condition}", "was": was}


def _page(
    request: Request, context: PageContext, visitor: Visitor, link: Link | None, state: State,
    did: Logged | None, reason: str = "",
) -> HTMLResponse:  # fmt: skip
    person = None if link is None else context.house.person.get(link.person)
    if person is not None and request.query_params.get("lang") is None:
        visitor = Visitor(visitor.visit, visitor.role, visitor.by, person.language)
    return page(
        request, context, visitor, "answer.html", STATUS[state],
        link=link, ring=_ring(context, link), state=state, did=did, reason=reason,
        run_for=RUN_FOR, run_more=RUN_MORE, cooler=_cooler(context, link),
        writes=link is not None and not reason and _writes(link, state),
        notes=_notes(context, link),
    )  # fmt: skip


def _ring(context: PageContext, link: Link | None) -> Ring | None:
    snapshot = context.hub.snapshot
    if snapshot is None or link is None:
        return None
    return snapshot.ring(link.subject, link.condition)


def _cooler(context: PageContext, link: Link | None) -> CoolerNow | None:
    snapshot = context.hub.snapshot
    return None if snapshot is None or link is None else snapshot.cooler(link.subject)


def _notes(context: PageContext, link: Link | None) -> list[Logged]:
    """What was written about it since its message."""
    if link is None:
        return []
    try:
        with past.reading(context.history) as history:
            told = history.counting(link.subject, link.at - HOUR, context.clock() + 1.0)
            return [one for one in told if isinstance(one.entry, e.Note)]
    except JournalError:
        return []


def _state(context: PageContext, link: Link | None) -> tuple[State, Logged | None]:
    """What the link is still good for, and the entry that it made if it did."""
    if link is None or link.person not in context.house.person:
        return "forged", None
    did = _made(context, link)
    if did is not None:
        return "done", did
    if context.clock() - link.at > link.lasts:
        return "old", None
    if link.act == "verdict":
        return "ready", None
    ring = _ring(context, link)
    if ring is None:
        return "over", None
    if ring.raised is not None and ring.raised > link.at:
        return "later", None
    if link.act == "acknowledge" and ring.state == "acknowledged":
        return "taken", None
    return "ready", None


def _made(context: PageContext, link: Link) -> Logged | None:
    wanted = entry_id(link)
    try:
        with past.reading(context.history) as history:
            made = history.told_of(link.subject, wanted)
    except JournalError:
        return None
    return None if made is None else made.logged
