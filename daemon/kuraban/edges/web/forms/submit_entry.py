"""From a tap on a page to an entry, and what became of it.

A form's fields are texts as people type them: full-width digits, a decimal comma and a true minus
are numbers too. An entry keeps the id that the form gave it, so a form that was sent twice, or
again when the Wi-Fi returned, is one entry. A phone's clock is its own, and is set when the phone
finds its network: a tap says when it was by the watch's own time, as far as its page knew that, and
counts from then. Where only the phone dates it, its age counts, by that clock when it was `sent`.
The door judges what can be judged of the entry alone; what depends on the batch the watch itself
says, and the journal tells.
"""

from __future__ import annotations

import time
from collections.abc import Mapping
from functools import cache
from typing import Any, Literal, NamedTuple, get_args
from uuid import uuid4

import msgspec
from fastapi import Request

from kuraban.core.entries import BY_KIND
from kuraban.core.facts import Fate, Logged, Refusal
from kuraban.core.intake.entry_parser import entry_from
from kuraban.core.intake.typed_figures import figure
from kuraban.core.plan.counted_entries import ToldEntry
from kuraban.core.units import HOUR, parse_time, show_time
from kuraban.edges.web.history_queries import reading
from kuraban.edges.web.page_context import NotAllowed, PageContext, Visitor
from kuraban.errors import JournalError
from kuraban.store.history import History

LOOKS, PAUSE = 40, 0.03
"""How often, and after how many seconds each, the journal is asked whether it has the entry."""
FORM_ONLY = frozenset({"token", "back", "form", "sure", "sent", "tapped", "when", "maker"})
TAKEN_BACK_WITHIN = HOUR
"""What was told longer ago is taken back from the list of entries."""
Way = Literal["page", "link"]


class Outcome(NamedTuple):
    """`kept` by the watch, `refused` with a reason, `asked` about with a question, or handed over
    and `waiting` to be taken. `fate` says of one that was kept how it stands."""

    id: str
    state: Literal["kept", "refused", "asked", "waiting"]
    reason: str = ""
    fate: Fate | None = None


def fields_of(form: Mapping[str, str], context: PageContext) -> Any:
    """The entry that a form's texts spell; what cannot be read is left as it was typed."""
    told: dict[str, object] = {}
    kind = form.get("entry", "")
    for name, text in form.items():
        text = text.strip()
        if name not in FORM_ONLY and text:
            told[name] = _value(kind, name, text)
    if form.get("when"):
        told["at"] = form["when"]
    elif form.get("tapped"):
        told["at"] = _by_the_watch(form["tapped"], context)
    elif "at" in told and form.get("sent"):
        told["at"] = _tapped(str(told["at"]), form["sent"], context)
    return told


def _by_the_watch(tapped: str, context: PageContext) -> str:
    """When that was by the clock of the house; as it was told where it is no time of the watch."""
    now = context.clock()
    try:
        at = min(parse_time(float(tapped)), now)
    except ValueError:
        return tapped
    return show_time(at, context.house.zone)


def _tapped(at: str, sent: str, context: PageContext) -> str:
    """When that was by the clock of the house; as it was told where that cannot be made out."""
    try:
        age = max(parse_time(sent) - parse_time(at), 0.0)
    except ValueError:
        return at
    return show_time(context.clock() - age, context.house.zone)


def unread(told: Mapping[str, object]) -> dict[str, str]:
    """Fields that hold numbers, and what was typed there and is none."""
    numbers = _fields_of(str(told.get("entry", "")), float)
    return {name: text for name, text in told.items() if name in numbers and isinstance(text, str)}


def _value(kind: str, name: str, text: str) -> object:
    if name in _fields_of(kind, float):
        return _number(text)
    return text == "true" if name in _fields_of(kind, bool) else text


def _number(text: str) -> object:
    try:
        return figure(text)
    except ValueError:
        return text


@cache
def _fields_of(kind: str, wanted: type) -> frozenset[str]:
    """The fields of an entry that hold plain numbers, or truth values."""
    shape = BY_KIND.get(kind)
    fields = () if shape is None else msgspec.structs.fields(shape)
    return frozenset(field.encode_name for field in fields if _is(field.type, wanted))


def _is(held: Any, wanted: type) -> bool:
    if isinstance(held, type):
        return held is wanted
    return any(_is(part, wanted) for part in get_args(held))


def tell(
    fields: Any, subject: str, context: PageContext, visitor: Visitor, way: Way = "page"
) -> Outcome:
    """Hand an entry to the watch and say what became of it; NotAllowed for whom may not."""
    if not visitor.may_make(fields if isinstance(fields, dict) else {}):
        raise NotAllowed
    if isinstance(fields, dict) and fields.get("id") is None:
        fields = {**fields, "id": str(uuid4())}
    made = entry_from(fields, subject, context.house, context.clock(), way, visitor.by)
    if isinstance(made, Refusal):
        return Outcome(str(fields.get("id", "")), "refused", made.reason)
    before = _taken(context, made)
    if before is not None:
        return before
    known = _entries_shown(context)
    context.submit(made)
    outcome = _outcome(context, made)
    if outcome.state == "kept":
        _await_picture(context, made.received, known)
    return outcome


def _entries_shown(context: PageContext) -> int:
    """How many entries the present picture knows of."""
    return -1 if context.hub.snapshot is None else context.hub.snapshot.entries


def _outcome(context: PageContext, logged: Logged) -> Outcome:
    """What the journal says of an entry within a second or so."""
    for _ in range(LOOKS):
        found = _taken(context, logged)
        if found is not None:
            return found
        time.sleep(PAUSE)
    return Outcome(logged.id, "waiting")


def _await_picture(context: PageContext, at: float, known: int) -> None:
    """A picture of `at` or later that knows of another entry than the `known`, if there is one
    soon: the next page shows what the tap did. One is made each second."""
    for _ in range(2 * LOOKS):
        snapshot = context.hub.snapshot
        if snapshot is not None and snapshot.at >= at and snapshot.entries != known:
            return
        time.sleep(PAUSE)


def _taken(context: PageContext, logged: Logged) -> Outcome | None:
    try:
        with reading(context.history) as history:
            return _found(history, logged)
    except JournalError:
        return None


def _found(history: History, logged: Logged) -> Outcome | None:
    told = history.told_of(logged.subject, logged.id)
    if told is None:
        return None
    if told.outcome is not None and told.outcome.fate == "refused":
        return Outcome(logged.id, "refused", told.outcome.reason, "refused")
    return Outcome(logged.id, "kept", fate=None if told.outcome is None else told.outcome.fate)


def told_entry(request: Request, context: PageContext) -> ToldEntry | None:
    """The entry that a page was led on from, so that it can be taken back there."""
    told, subject = request.query_params.get("told"), request.query_params.get("of")
    return known_entry(context, subject, told) if told and subject else None


def known_entry(context: PageContext, subject: str, entry_id: str) -> ToldEntry | None:
    """An entry of the last hour, and what became of it."""
    try:
        with reading(context.history) as history:
            found = history.told_of(subject, entry_id)
    except JournalError:
        return None
    late = found is not None and context.clock() - found.logged.at > TAKEN_BACK_WITHIN
    return None if late else found
