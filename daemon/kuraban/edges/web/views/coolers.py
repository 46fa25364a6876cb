"""Coolers and heaters for whoever keeps them: what each does, what hangs on it, what to look at."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from typing import NamedTuple

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, StreamingResponse
from starlette.exceptions import HTTPException

from kuraban.core import entries as e
from kuraban.core.equipment.cooler_view import RUNS_SHARE, RUNS_WATTS
from kuraban.core.facts import Logged
from kuraban.core.site import Cooler, House
from kuraban.core.units import DAY, HOUR, day_turn, show_time
from kuraban.core.views.equipment_run_hours import ran, spells
from kuraban.core.views.equipment_views import CoolerNow, HoursLeft, Served
from kuraban.core.views.snapshot import Ring, Snapshot
from kuraban.edges.web import history_queries as past
from kuraban.edges.web.forms.submit_entry import told_entry
from kuraban.edges.web.live.sse import stream
from kuraban.edges.web.page_context import Context, PageContext, Somebody
from kuraban.edges.web.programs.api import PREFIX, REFUSALS, Subject
from kuraban.edges.web.templating import fill, page
from kuraban.edges.web.translator import Translator
from kuraban.errors import JournalError
from kuraban.store.history import History, Shortened

router = APIRouter(include_in_schema=False)
programs = APIRouter(prefix=PREFIX, responses=REFUSALS)

DAYS = 30
CHECKS = {
    "heater": ("stopped", "not-heating", "short-cycling"),
    "": ("stopped", "not-cooling", "warming", "short-cycling", "freezing"),
}
"""What may be wrong with a heater, and with a cooler."""
CAUTIONS = {"heater": ("heater", "licensed"), "": ("electric", "licensed")}
REASONS = ("maintenance", "defrost", "unused")
DEFROSTS = ("30m", "1h", "2h")


class DayRun(NamedTuple):
    """Hours run in one brewery day, from `start` on; None where nothing is known of it."""

    start: float
    hours: float | None


@dataclass(frozen=True, slots=True)
class DayTold:
    """One brewery day."""

    start: str
    hours: float | None


@router.get("/coolers")
def coolers(request: Request, context: Context, visitor: Somebody) -> HTMLResponse:
    snapshot = context.snapshot()
    return page(
        request, context, visitor, "coolers.html", snapshot=snapshot, rings_of=rings_of,
        first_of=first_of, told=told_entry(request, context), may_log=visitor.may("log"),
    )  # fmt: skip


@router.get("/coolers/{cooler}")
def one_cooler(request: Request, context: Context, visitor: Somebody, cooler: str) -> HTMLResponse:
    snapshot = context.snapshot()
    known = _known(snapshot, cooler)
    days, kept, unread = _days(context, cooler, snapshot.at)
    kind = "heater" if known.heats else ""
    return page(
        request, context, visitor, "cooler.html", snapshot=snapshot, cooler=known,
        rings=rings_of(snapshot, cooler), days=days[::-1], kept=kept, unread=unread,
        checks=CHECKS[kind], cautions=CAUTIONS[kind],
        others=_others(context.house, context.house.cooler[cooler]),
        behind=_behind(context, cooler, snapshot.at), reasons=REASONS, defrosts=DEFROSTS,
        told=told_entry(request, context),
        may_log=visitor.may("log"), manages=visitor.may("manage"),
    )  # fmt: skip


@router.get("/live/coolers")
async def live_coolers(request: Request, context: Context, visitor: Somebody) -> StreamingResponse:
    return stream(request, context, "coolers", visitor, parts)


@router.get("/live/coolers/{cooler}")
async def live_cooler(
    request: Request, context: Context, visitor: Somebody, cooler: str
) -> StreamingResponse:
    if cooler not in context.house.cooler:
        raise HTTPException(404)
    return stream(request, context, f"cooler {cooler}", visitor, partial(_one, cooler))


@programs.get("/coolers", summary="Coolers and heaters: what each does, and what hangs on it")
def told(context: Context, visitor: Somebody) -> list[CoolerNow]:
    return list(context.snapshot().coolers)


@programs.get("/coolers/{cooler}/days", summary="Hours run in each of the last thirty brewery days")
def told_days(context: Context, visitor: Somebody, cooler: Subject) -> list[DayTold]:
    if cooler not in context.house.cooler:
        raise HTTPException(404, f"there is no cooler {cooler}")
    with past.reading(context.history) as history:
        found = days_run(history, context.house, cooler, context.snapshot().at)
    return [DayTold(show_time(day.start, context.house.zone), day.hours) for day in found]


@programs.get("/places/{place}/hours", summary="How long a place has if its cooling stopped now")
def told_hours(context: Context, visitor: Somebody, place: Subject) -> HoursLeft | None:
    known = context.snapshot().place(place)
    if known is None:
        raise HTTPException(404, f"there is no place {place}")
    return known.hours


def parts(context: PageContext, w: Translator, snapshot: Snapshot, may_log: bool) -> dict[str, str]:
    """The parts of an open list by their ids."""
    return {
        f"cooler-{one.id}": fill(
            "_cooler.html", w, cooler=one, rings=rings_of(snapshot, one.id),
            first=first_of(one), token="", may_log=may_log,
        )
        for one in snapshot.coolers
    }  # fmt: skip


def _one(
    cooler: str, context: PageContext, w: Translator, snapshot: Snapshot, may_log: bool
) -> dict[str, str]:
    known = snapshot.cooler(cooler)
    if known is None:
        return {}
    rings = rings_of(snapshot, cooler)
    fields = {"cooler": known, "rings": rings, "token": "", "may_log": may_log}
    return {"now": fill("_running.html", w, **fields)}


def rings_of(snapshot: Snapshot, cooler: str) -> list[Ring]:
    return [ring for ring in snapshot.rings if ring.subject == cooler and not ring.held_back]


def first_of(cooler: CoolerNow) -> Served | None:
    """The place that leaves its tolerance first if this cooler stopped now."""
    known = [
        (one.hours.soonest, number, one)
        for number, one in enumerate(cooler.served)
        if one.hours is not None and one.hours.soonest is not None
    ]
    return min(known)[2] if known else None


def _behind(
    context: PageContext, cooler: str, now: float
) -> list[tuple[float, past.PastRing | None, Logged | None]]:
    """Rings, notes and what else was done about a cooler, the newest first."""
    start, told = now - DAYS * DAY, (e.Note, e.OutOfService, e.InService)
    try:
        with past.reading(context.history) as history:
            rung = [one for one in past.rings(history, start, now + 1) if one.subject == cooler]
            made = history.counting(cooler, start, now + 1)
            done = [one for one in made if isinstance(one.entry, told)]
    except JournalError:
        return []
    rings: list[tuple[float, past.PastRing | None, Logged | None]] = [
        (one.at, one, None) for one in rung
    ]
    return sorted([*rings, *((one.at, None, one) for one in done)], key=lambda one: -one[0])


def _known(snapshot: Snapshot, cooler: str) -> CoolerNow:
    known = snapshot.cooler(cooler)
    if known is None:
        raise HTTPException(404)
    return known


def _others(house: House, cooler: Cooler) -> list[Cooler]:
    """What may take its place."""
    return [one for one in house.coolers if one.id != cooler.id and one.heats is cooler.heats]


# Hours run.


def _days(
    context: PageContext, cooler: str, now: float
) -> tuple[list[DayRun], tuple[Shortened, ...], bool]:
    """The last days, where they rest on summaries, and whether the journal could not be read."""
    try:
        with past.reading(context.history) as history:
            found, start = days_run(history, context.house, cooler, now), now - DAYS * DAY
            return found, past.shortened(history, context.house, cooler, start, now), False
    except JournalError:
        return [], (), True


def days_run(history: History, house: House, cooler: str, now: float) -> list[DayRun]:
    """Hours run in each of the last thirty brewery days, this one last; empty without a probe."""
    probe = next(
        (p for m in ("running", "power") for p in house.probes_of(cooler, m)), None
    )  # fmt: skip
    if probe is None:
        return []
    turns = [day_turn(now, house.site.day_starts, house.zone)]
    while len(turns) < DAYS:
        turns.append(day_turn(turns[-1] - DAY / 2, house.site.day_starts, house.zone))
    turns.reverse()
    rated = house.cooler[cooler].rated_watts
    watts = RUNS_WATTS if rated is None else RUNS_SHARE * rated
    least = watts if probe.measures == "power" else 0.5
    readings = history.readings(probe.id, turns[0] - HOUR, now)
    found = spells(readings, least, probe.silent_after, now)
    days = []
    for start, end in zip(turns, [*turns[1:], now], strict=True):
        within = [one for one in found if one.end > start and one.start < end]
        seconds = ran(within, start, end)
        days.append(DayRun(start, None if seconds is None else seconds / HOUR))
    return days
