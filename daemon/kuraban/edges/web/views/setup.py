"""Setting up: probes that nobody knows yet, the ice point, a test of each phone, a first file."""

from __future__ import annotations

from collections.abc import Container
from datetime import datetime
from typing import NamedTuple
from zoneinfo import ZoneInfo

from fastapi import APIRouter, HTTPException, Request
from fastapi.responses import HTMLResponse, PlainTextResponse, Response

from kuraban.core.site import TEMPERATURES, Probe
from kuraban.core.timescale import wall_of
from kuraban.core.units import DAY, ID, MINUTE
from kuraban.edges.web import history_queries as past
from kuraban.edges.web.forms.form_fields import Faults, Form, TheForm
from kuraban.edges.web.page_context import (
    Address,
    Context,
    NotAllowed,
    PageContext,
    Somebody,
    Visitor,
)
from kuraban.edges.web.templating import page
from kuraban.edges.web.wall import address_of
from kuraban.errors import JournalError, OutOfRange
from kuraban.store.history import History
from kuraban.trade.thermometer_accuracy import Offset, ice_point_offset

router = APIRouter(include_in_schema=False)

LOOKED_BACK = 10 * MINUTE
STEADY = 0.15
"""K between the highest and the lowest reading of a bath that has settled (common practice)."""
LEAST = 5
HEARD_WITHIN = DAY
MOST_HEAD = 60
STEP = 1 / 16
"""One step of the probe, K, as most digital ones have."""


class Unknown(NamedTuple):
    """A probe that speaks and is in no site file: when it last spoke, and how it began."""

    id: str
    at: float
    said: str


class InIce(NamedTuple):
    """What a probe reads in the ice bath, °C without its offset, and what follows from it."""

    probe: Probe
    readings: tuple[float, ...]
    spread: float | None
    found: Offset | None

    @property
    def steady(self) -> bool:
        return self.found is not None and self.spread is not None and self.spread <= STEADY

    @property
    def offset(self) -> float | None:
        """What to write into the site file."""
        return None if self.found is None else self.found.offset


@router.get("/setup")
def setting_up(request: Request, context: Context, visitor: Somebody) -> HTMLResponse:
    _manages(visitor)
    return _sheet(request, context, visitor)


@router.post("/setup/test")
def test_phone(
    request: Request, context: Context, visitor: Somebody, form: TheForm
) -> HTMLResponse:
    """A message to one person now; where each address stands is shown beneath the name."""
    _manages(visitor)
    person = form.get("person", "")
    if person not in context.house.person:
        raise HTTPException(404)
    now = wall_of(context.clock(), context.house.zone)
    tried = list(context.tools.test(person, now))
    return _sheet(request, context, visitor, tested={person: tried})


@router.post("/setup/site.toml")
def first_file(request: Request, context: Context, visitor: Somebody, form: TheForm) -> Response:
    """A first site file from what is heard, to keep and put right."""
    _manages(visitor)
    name, zone, language = (form.get(one, "").strip() for one in ("name", "zone", "language"))
    if language not in context.words.catalogue:
        language = context.house.site.language
    w, wrong = context.translator(visitor.language), Faults()
    if not name:
        wrong.add("name", w("setup.no-name"))
    if not _zoned(zone):
        wrong.add("zone", w("setup.no-zone"))
    if wrong:
        return _sheet(request, context, visitor, form=form, wrong=wrong)
    heard = [*context.house.probe, *(one.id for one in _unknown(context))]
    text = context.tools.first_file(name[:100], zone, language, heard)
    kept = {"content-disposition": 'attachment; filename="site.toml"'}
    return PlainTextResponse(text, headers=kept)


@router.get("/setup/ice/{probe}")
def ice_point(request: Request, context: Context, visitor: Somebody, probe: str) -> HTMLResponse:
    """Walk a probe through the ice bath: what it reads now, whether it is steady, its offset."""
    _manages(visitor)
    known = context.house.probe.get(probe)
    if known is None or known.measures not in TEMPERATURES:
        raise HTTPException(404)
    snapshot = context.snapshot()
    try:
        with past.reading(context.history) as history:
            found = in_ice(history, known, context.clock())
    except JournalError:
        found = InIce(known, (), None, None)
    place = snapshot.place(known.of)
    out = place is not None and any(one.id == probe and one.out for one in place.probes)
    return page(
        request, context, visitor, "ice.html", ice=found, out=out, least=LEAST, steady=STEADY,
        may_log=visitor.may("log"), today=_today(context),
    )  # fmt: skip


def in_ice(history: History, probe: Probe, now: float) -> InIce:
    """What a probe read within the last ten minutes, in ice or not."""
    heard = list(history.readings(probe.id, now - LOOKED_BACK, now + 1))
    values = tuple(value - probe.offset for _, value in heard)
    spread = max(values) - min(values) if values else None
    try:
        found = ice_point_offset(values[-20:], resolution=STEP) if len(values) >= LEAST else None
    except OutOfRange:
        found = None
    return InIce(probe, values, spread, found)


def _today(context: PageContext) -> str:
    """As a site file writes it."""
    return datetime.fromtimestamp(context.clock(), context.house.zone).date().isoformat()


def _zoned(zone: str) -> bool:
    """Whether there is such a time zone."""
    try:
        ZoneInfo(zone)
    except (KeyError, ValueError, OSError):
        return False
    return True


def _manages(visitor: Visitor) -> None:
    if not visitor.may("manage"):
        raise NotAllowed


def _sheet(
    request: Request, context: PageContext, visitor: Visitor,
    tested: dict[str, list[Address]] | None = None, form: Form | None = None,
    wrong: Faults | None = None,
) -> HTMLResponse:  # fmt: skip
    """The page; `form` is one that spells no site file and comes back as it was typed."""
    unknown = _unknown(context)
    temperatures = [one for one in context.house.probes if one.measures in TEMPERATURES]
    return page(
        request, context, visitor, "setup.html", 200 if form is None else 422, unknown=unknown,
        lines=context.tools.lines([one.id for one in unknown]) if unknown else "",
        probes=temperatures, tested=tested or {}, house=context.house, typed=form, wrong=wrong,
        wall=address_of(request, context),
        subscribers=[one for one in context.house.people if one.id in context.feeds],
    )  # fmt: skip


def _unknown(context: PageContext) -> list[Unknown]:
    try:
        with past.reading(context.history) as history:
            return unknown(history, context.house.probe, context.clock() - HEARD_WITHIN)
    except JournalError:
        return []


def unknown(history: History, known: Container[str], since: float) -> list[Unknown]:
    """Probes that spoke since a moment and are in no site file, by id."""
    found: dict[str, Unknown] = {}
    for refusal in history.refusals(None):
        before, _, probe = refusal.topic.rpartition("/")
        if not before.endswith("/reading") or not ID.fullmatch(probe) or refusal.at < since:
            continue
        if probe not in known and probe not in found:
            found[probe] = Unknown(probe, refusal.at, refusal.head[:MOST_HEAD])
    return [found[probe] for probe in sorted(found)]
