"""The same data for programs: what the pages show, any range of readings, and entries.

A program signs in with each request (HTTP Basic, RFC 7617), a script of our own pages with its
visit and the token of its page.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import tzinfo
from pathlib import Path as Journal
from typing import Annotated, Any, Literal

import msgspec
from fastapi import APIRouter, Body, Path, Query, Request
from fastapi.responses import JSONResponse, Response, StreamingResponse
from starlette.exceptions import HTTPException

from kuraban.core.entries import kind_of
from kuraban.core.facts import Fate, Logged
from kuraban.core.plan.counted_entries import ToldEntry
from kuraban.core.site import WATCH, House
from kuraban.core.timescale import by_the_wall, moment_of
from kuraban.core.units import DAY, parse_time, show_time
from kuraban.core.views.snapshot import Snapshot
from kuraban.edges.web import history_queries as past
from kuraban.edges.web.forms.submit_entry import tell
from kuraban.edges.web.page_context import TOKEN, Context, Somebody, check_token
from kuraban.store.upkeep.summary import MINUTES, TENS

PREFIX = "/api/v1"
LONGEST = 400 * DAY
StandsFor = Literal["reading", "minute", "ten minutes"]
STANDS_FOR: dict[int, StandsFor] = {0: "reading", MINUTES: "minute", TENS: "ten minutes"}
"""What a value of the journal stands for, by the seconds of its slot."""
BUNDLE = 500
"""Rows that are sent at once."""
_IDS = r"^[a-z0-9][a-z0-9-]*$"

Subject = Annotated[str, Path(pattern=_IDS, max_length=100, description="Id in the site file.")]
Moment = Annotated[
    str | None, Query(max_length=40, description="RFC 3339 with an offset, or Unix seconds.")
]
Format = Annotated[Literal["json", "csv", "jsonl"], Query(description="How rows are written.")]


@dataclass(frozen=True, slots=True)
class Wrong:
    """What is wrong, and what would be right."""

    detail: str


@dataclass(frozen=True, slots=True)
class Told:
    """What became of an entry: kept, or handed over and waiting to be taken. `fate` says how one
    that was kept stands: one that is `waiting` there counts once a second person confirms it."""

    id: str
    state: Literal["kept", "refused", "waiting"]
    reason: str = ""
    fate: Fate | None = None


@dataclass(frozen=True, slots=True)
class Reading:
    """One value as it was judged, the probe's offset added."""

    at: str
    probe: str
    measures: str
    value: float
    stands_for: StandsFor


@dataclass(frozen=True, slots=True)
class Entry:
    """Something that was done, as it counts; `back` where it was taken back."""

    id: str
    at: str
    subject: str
    by: str | None
    way: str
    back: bool
    entry: dict[str, Any]


@dataclass(frozen=True, slots=True)
class Outcome:
    """An entry as it was made, and how it stands: since when, by which other entry, by whom, and
    why it was refused. `fate` is null while it lies ahead of its own time."""

    id: str
    at: str
    subject: str
    by: str | None
    way: str
    entry: dict[str, Any]
    fate: Fate | None
    since: str | None = None
    cause: str | None = None
    who: str | None = None
    reason: str = ""


REFUSALS: dict[int | str, dict[str, Any]] = {
    401: {"model": Wrong}, 403: {"model": Wrong}, 404: {"model": Wrong}, 422: {"model": Wrong},
    429: {"model": Wrong}, 503: {"model": Wrong},
}  # fmt: skip

router = APIRouter(prefix=PREFIX, responses=REFUSALS)


@router.get("/picture", summary="Everything that the pages show now", response_model=Snapshot)
def snapshot(context: Context, visitor: Somebody) -> Snapshot | dict[str, Any]:
    shown = context.snapshot()
    if not shown.clock:
        return shown
    told = by_the_wall(msgspec.to_builtins(shown), context.house.zone)
    return {**told, "clock": []}


@router.get(
    "/places/{place}/readings",
    summary="Readings of a place's or cooler's probes in a range",
    response_model=list[Reading],
)
def readings(
    context: Context, visitor: Somebody, place: Subject, start: Moment = None,
    end: Moment = None, format: Format = "json",
) -> Response:  # fmt: skip
    """Old readings are summaries by now: of each minute, or of each ten, the lowest, the highest
    and the last value are there, each at its own time. `stands_for` says so of every value."""
    house = context.house
    if place not in house.place and place not in house.cooler:
        raise HTTPException(404, f"there is no place or cooler {place}")
    first, last = _range(start, end, context.clock(), house.zone)
    with past.reading(context.history):  # or it is told at once that it cannot be read
        rows = _readings(context.history, house, place, first, last)
    headers = {"content-disposition": f'attachment; filename="{place}.{format}"'}
    return StreamingResponse(
        _bundled(_WRITERS[format](rows)), media_type=_KINDS[format],
        headers=headers if format != "json" else None,
    )  # fmt: skip


@router.get("/entries/{subject}", summary="What was done in a range, corrections marked")
def entries(
    context: Context, visitor: Somebody, subject: Subject, start: Moment = None,
    end: Moment = None,
) -> list[Entry]:  # fmt: skip
    house = context.house
    known_subject(house, subject)
    first, last = _range(start, end, context.clock(), house.zone)
    with past.reading(context.history) as history:
        done = past.done(history, subject, first, last)
    return [_entry(one, house) for one in done if one.counts or one.back]


@router.get("/outcomes/{subject}", summary="What became of every entry in a range, and why")
def outcomes(
    context: Context, visitor: Somebody, subject: Subject, start: Moment = None,
    end: Moment = None,
) -> list[Outcome]:  # fmt: skip
    house = context.house
    known_subject(house, subject)
    first, last = _range(start, end, context.clock(), house.zone)
    with past.reading(context.history) as history:
        return [_outcome(told, house) for told in history.told(subject, first, last)]


@router.post(
    "/entries/{subject}",
    summary="Tell the watch what was done",
    responses={200: {"model": Told}, 202: {"model": Told}, 422: {"model": Told}},
    response_model=Told,
)
def log(
    request: Request, context: Context, visitor: Somebody, subject: Subject,
    entry: Annotated[dict[str, Any], Body(examples=[{"entry": "stir", "for": "20m"}])],
) -> JSONResponse:  # fmt: skip
    check_token(context, visitor, request.headers.get(TOKEN))
    known_subject(context.house, subject)
    outcome = tell(entry, subject, context, visitor)
    status = {"kept": 200, "waiting": 202, "refused": 422}[outcome.state]
    return JSONResponse(outcome._asdict(), status)


def known_subject(house: House, subject: str) -> None:
    if subject not in {WATCH, *house.place, *house.cooler, *house.probe}:
        raise HTTPException(404, f"there is no place, cooler or probe {subject}")


def _range(start: str | None, end: str | None, now: float, zone: tzinfo) -> tuple[float, float]:
    last = now + 1 if end is None else moment_of(moment(end), zone)
    first = last - DAY if start is None else moment_of(moment(start), zone)
    if first > last:
        raise HTTPException(422, "start lies after end; give the earlier one as start")
    if last - first > LONGEST:
        raise HTTPException(422, "that is more than 400 days; ask for them in parts")
    return first, last


def moment(text: str) -> float:
    """A plus sign in an address stands for a space, so a space may have been a plus."""
    try:
        return parse_time(float(text))
    except ValueError:
        pass
    try:
        return parse_time(text.replace(" ", "+"))
    except ValueError as wrong:
        raise HTTPException(422, str(wrong)) from None


def _readings(
    journal: Journal, house: House, subject: str, start: float, end: float
) -> Iterator[Reading]:
    for probe in house.probes_of(subject):
        for at, value, grain in past.graded(journal, probe.id, start, end):
            when = show_time(at, house.zone)
            yield Reading(when, probe.id, probe.measures, value, STANDS_FOR[grain])


def _entry(done: past.Done, house: House) -> Entry:
    logged = done.logged
    return Entry(
        id=logged.id, at=show_time(logged.at, house.zone), subject=logged.subject, by=logged.by,
        way=logged.way, back=done.back, entry=fields_of(logged, house.zone),
    )  # fmt: skip


def _outcome(told: ToldEntry, house: House) -> Outcome:
    logged, outcome = told
    made = Outcome(
        id=logged.id, at=show_time(logged.at, house.zone), subject=logged.subject, by=logged.by,
        way=logged.way, entry=fields_of(logged, house.zone), fate=None,
    )  # fmt: skip
    if outcome is None:
        return made
    return dataclasses.replace(
        made, fate=outcome.fate, since=show_time(outcome.received, house.zone),
        cause=outcome.cause and outcome.cause[1], who=outcome.by, reason=outcome.reason,
    )  # fmt: skip


def fields_of(logged: Logged, zone: tzinfo) -> dict[str, Any]:
    told: dict[str, Any] = msgspec.to_builtins(logged.entry, enc_hook=float)
    return {**by_the_wall(told, zone), "entry": kind_of(logged.entry)}


def _as_json(rows: Iterable[Reading]) -> Iterator[str]:
    yield "["
    for number, row in enumerate(rows):
        yield f",\n{_object(row)}" if number else _object(row)
    yield "]\n"


def _as_lines(rows: Iterable[Reading]) -> Iterator[str]:
    for row in rows:
        yield f"{_object(row)}\n"


def _object(row: Reading) -> str:
    told = {
        "at": row.at, "probe": row.probe, "measures": row.measures, "value": row.value,
        "stands_for": row.stands_for,
    }  # fmt: skip
    return msgspec.json.encode(told).decode()


def _as_csv(rows: Iterable[Reading]) -> Iterator[str]:
    """No field needs quotes: ids, times and numbers."""
    yield "at,probe,measures,value,stands_for\r\n"
    for row in rows:
        yield f"{row.at},{row.probe},{row.measures},{row.value},{row.stands_for}\r\n"


def _bundled(parts: Iterable[str]) -> Iterator[str]:
    """Many small parts as few large ones: each is a step of the pages' loop."""
    held: list[str] = []
    for part in parts:
        held.append(part)
        if len(held) == BUNDLE:
            yield "".join(held)
            held.clear()
    yield "".join(held)


_WRITERS = {"json": _as_json, "csv": _as_csv, "jsonl": _as_lines}
_KINDS = {
    "json": "application/json", "csv": "text/csv; charset=utf-8",
    "jsonl": "application/jsonl; charset=utf-8",
}  # fmt: skip
