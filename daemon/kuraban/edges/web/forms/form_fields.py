"""Forms as they come: ours, signed by their token; their fields read, or told to be unreadable.

A form that cannot be taken comes back with everything that was typed. One that can leads on to a
page that says so and offers to take it back.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Annotated
from urllib.parse import quote

from fastapi import Depends, Request
from fastapi.responses import RedirectResponse

from kuraban.edges.web.forms import form_values as typed
from kuraban.edges.web.forms.submit_entry import Outcome
from kuraban.edges.web.page_context import TOKEN, Context, NotTheirs, Somebody, check_token
from kuraban.edges.web.translator import Translator

Form = Mapping[str, str]
MOST_FIELDS = 60
ROUND = "/round"


async def texts_of(request: Request) -> dict[str, str]:
    """The texts of a form; no files."""
    form = await request.form(max_files=0, max_fields=MOST_FIELDS)
    return {name: text for name, text in form.items() if isinstance(text, str)}


async def checked(request: Request, context: Context, visitor: Somebody) -> dict[str, str]:
    """The texts of a form that is one of ours; NotAllowed for another, and NotTheirs for one that
    somebody else made, who was signed in when this browser kept it."""
    told = await texts_of(request)
    if context.accounts and told.get("maker", visitor.by) != visitor.by:
        raise NotTheirs
    check_token(context, visitor, request.headers.get(TOKEN) or told.get("token"))
    return told


TheForm = Annotated[dict[str, str], Depends(checked)]


class Faults(dict[str, str]):
    """What is wrong with a form, by the field beside which it is said; "" is the whole form."""

    def add(self, field: str, sentence: str) -> None:
        """One sentence more."""
        self[field] = f"{self[field]} {sentence}" if field in self else sentence


def refused(outcome: Outcome, form: Form, w: Translator) -> Faults:
    """Why the watch did not take it, beside the field that it names if the form has one."""
    field = w.field_of(outcome.reason)
    said = w("told.refused", reason=w.reason(outcome.reason))
    return Faults({field if field in form else "": said})


class Filled:
    """A form being read. A text that cannot be is told in `wrong`, and counts as nothing.

    `names` is the table of the catalogue in which its fields have their names.
    """

    def __init__(self, form: Form, w: Translator, names: str) -> None:
        self._form, self._w, self._names = form, w, names
        self.wrong = Faults()

    def text(self, field: str) -> str:
        return self._form.get(field, "").strip()

    def number(self, field: str) -> float | None:
        return self._read(field, typed.number, "batches.unread")

    def moment(self, field: str) -> float | None:
        """Unix seconds, by the clock of the house."""
        zone = self._w.house.zone
        return self._read(field, lambda text: typed.moment(text, zone), "batches.no-moment")

    def _read(self, field: str, reader: Callable[[str], float | None], wrong: str) -> float | None:
        text = self._form.get(field, "")
        try:
            return reader(text)
        except (ValueError, OverflowError):
            name = self._w(f"{self._names}.{field.replace('_', '-')}")
            self.wrong.add(field, self._w(wrong, field=name, text=text))
            return None


def own_id(form: Form) -> dict[str, str]:
    """The id that a form gave its entry, so that the same form twice is one entry."""
    return {"id": form["id"]} if form.get("id") else {}


def led(path: str, outcome: Outcome, subject: str) -> RedirectResponse:
    """On to a page that says what was written down; on a round to where one stands."""
    told, row = quote(outcome.id, safe=""), f"#row-{subject}" if path == ROUND else ""
    return RedirectResponse(f"{path}?told={told}&of={subject}{row}", 303)
