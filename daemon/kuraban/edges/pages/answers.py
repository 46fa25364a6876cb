"""One ring, one button: where the links in messages lead; in the morning three, was it worth it?

Messengers fetch every link that they carry, so opening one does nothing. Only the button acts; its
entry is made by the person to whom the message went, and is one entry however often it is pressed.
The token is all that is asked for: at three in the morning nobody remembers a pass-word.
"""

from __future__ import annotations

from typing import Annotated, Literal

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from kuraban.core.facts import Logged
from kuraban.core.picture import Ring
from kuraban.core.units import DAY, show_time
from kuraban.edges.pages import past
from kuraban.edges.pages.office import Anybody, Office, TheOffice, Visitor
from kuraban.edges.pages.sheets import page
from kuraban.edges.pages.taps import tell
from kuraban.edges.signing import Link, entry_id
from kuraban.errors import JournalError

router = APIRouter(include_in_schema=False)

RUN_FOR, RUN_MORE = "3h", 0.3
State = Literal["ready", "done", "taken", "over", "later", "old", "forged"]
STATUS: dict[State, int] = {
    "ready": 200, "done": 200, "taken": 200, "over": 200, "later": 410, "old": 410, "forged": 404,
}  # fmt: skip


@router.get("/a/{token}")
def ask(request: Request, office: TheOffice, visitor: Anybody, token: str) -> HTMLResponse:
    """Shows the ring and its button; changes nothing."""
    link = office.signer.read_link(token)
    state, did = _state(office, link)
    return _page(request, office, visitor, link, state, did)


@router.post("/a/{token}")
def answer(
    request: Request, office: TheOffice, visitor: Anybody, token: str,
    was: Annotated[str | None, Form()] = None,
) -> Response:  # fmt: skip
    """The button was pressed; `was` is the one of the three."""
    link = office.signer.read_link(token)
    state, did = _state(office, link)
    if state != "ready" or link is None:
        return _page(request, office, visitor, link, state, did)
    fields = _fields(office, link, was)
    as_person = Visitor(visitor.visit, "log", link.person, visitor.language)
    outcome = tell(fields, link.subject, office, as_person, "link")
    if outcome.state == "refused":
        return _page(request, office, visitor, link, "over", None, outcome.reason)
    return RedirectResponse(f"/a/{token}", 303)


def _fields(office: Office, link: Link, was: str | None) -> dict[str, object]:
    """The entry that a link makes. A verdict is about the rings before its message, so it bears
    that time: the alarm may have rung again since."""
    at = link.at if link.act == "verdict" else office.clock()
    fields: dict[str, object] = {
        "entry": link.act, "id": entry_id(link), "at": show_time(at, office.house.zone)
    }  # fmt: skip
    match link.act:
        case "acknowledge":
            return fields | {"condition": link.condition}
        case "let-run":
            return fields | {"for": RUN_FOR, "more": RUN_MORE}
        case "verdict":
            return fields | {"alarm": f"{link.subject}/{link.condition}", "was": was}


def _page(
    request: Request, office: Office, visitor: Visitor, link: Link | None, state: State,
    did: Logged | None, reason: str = "",
) -> HTMLResponse:  # fmt: skip
    person = None if link is None else office.house.person.get(link.person)
    if person is not None and request.query_params.get("lang") is None:
        visitor = Visitor(visitor.visit, visitor.role, visitor.by, person.language)
    return page(
        request, office, visitor, "answer.html", STATUS[state],
        link=link, ring=_ring(office, link), state=state, did=did, reason=reason,
        run_for=RUN_FOR, run_more=RUN_MORE,
    )  # fmt: skip


def _ring(office: Office, link: Link | None) -> Ring | None:
    picture = office.board.picture
    if picture is None or link is None:
        return None
    return picture.ring(link.subject, link.condition)


def _state(office: Office, link: Link | None) -> tuple[State, Logged | None]:
    """What the link is still good for, and the entry that it made if it did."""
    if link is None or link.person not in office.house.person:
        return "forged", None
    did = _made(office, link)
    if did is not None:
        return "done", did
    if office.clock() - link.at > link.lasts:
        return "old", None
    if link.act == "verdict":
        return "ready", None
    ring = _ring(office, link)
    if ring is None:
        return "over", None
    if ring.raised is not None and ring.raised > link.at:
        return "later", None
    if link.act == "acknowledge" and ring.state == "acknowledged":
        return "taken", None
    return "ready", None


def _made(office: Office, link: Link) -> Logged | None:
    wanted = entry_id(link)
    try:
        with past.reading(office.history) as history:
            made = list(history.entries(link.subject, link.at - 60.0, link.at + 4 * DAY))
    except JournalError:
        return None
    return next((one for one in made if one.id == wanted), None)
