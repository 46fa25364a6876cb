"""Curves of many days, drawn by the one figure function: a batch's sheet, and a plan drawn anew."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from fastapi.responses import JSONResponse, Response
from starlette.exceptions import HTTPException

from kuraban.core.facts import Logged
from kuraban.core.site import House
from kuraban.core.units import DAY, HOUR, MINUTE, day_turn
from kuraban.core.views.snapshot import PlanLine, Point
from kuraban.edges.web.drawing.lazy_figures import Shape, Tone, as_svg, available, clipped, sizes
from kuraban.edges.web.translator import Translator

LABELLED, LABELLED_SMALL = 8, 4
"""So many days with a label, at most; beyond, every few days have one."""
CLOSE = 12 * HOUR


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawn:
    """Everything that a curve of many days shows. `faint` is the plan before it was drawn anew.

    `days` are turns of the brewery day with the moromi day that begins, None where it has none.
    """

    house: House
    title: str
    start: float
    end: float
    points: tuple[Point, ...]
    step: float
    plan: PlanLine
    faint: tuple[Point, ...]
    days: tuple[tuple[float, int | None], ...]
    done: tuple[Logged, ...] = ()
    w: Translator
    tone: Tone = "day"
    size: Shape = "page"


def answer(drawn: Drawn) -> Response:
    """The curve as an SVG document; 404 where curves cannot be drawn."""
    return as_svg(lambda: svg(drawn))


def svg(drawn: Drawn) -> bytes:
    from kuraban.edges import charts

    zone, start, end = drawn.house.zone, drawn.start, drawn.end
    plan = clipped(drawn.plan.points, start, end)
    kinds = [(one.at, charts.KINDS.get(type(one.entry))) for one in drawn.done]
    events = sorted(charts.Event(at, kind) for at, kind in kinds if kind is not None)
    hours = drawn.house.site.duty_hours
    return charts.svg(
        charts.figure(
            [charts.Point(at, value) for at, value in drawn.points],
            plan,
            clipped(drawn.faint, start, end) if drawn.faint else (),
            [
                charts.Band(at, celsius - stretch.below, celsius + stretch.above)
                for stretch in drawn.plan.stretches
                for at, celsius in clipped(
                    plan, max(stretch.start, start), min(stretch.end or end, end) - 1.0
                )
            ],
            events,
            drawn.w.language,
            zone,
            drawn.tone,
            start=start,
            end=end,
            title=drawn.title,
            turns=[charts.Turn(at, label) for at, label in _labels(drawn)],
            nights=charts.nights_of(hours, start, end, zone) if end - start < 4 * DAY else (),
            gap=max(20 * MINUTE, 3 * drawn.step),
            size=sizes()[drawn.size],
            drawn_by_browser=True,
        )
    )


def _labels(drawn: Drawn) -> Iterator[tuple[float, str]]:
    """Every day, or every second, fifth or tenth with its number alone."""
    shown = [(at, day) for at, day in drawn.days if drawn.start <= at <= drawn.end]
    most = LABELLED if drawn.size == "page" else LABELLED_SMALL
    every = next((n for n in (1, 2, 5, 10) if len(shown) / n <= most), 20)
    last = drawn.end - max(CLOSE, (drawn.end - drawn.start) / 12)
    for at, day in shown:
        if day is not None and at <= last and (every == 1 or day == 1 or day % every == 0):
            yield at, drawn.w("chart.day", n=day)


def days_of(
    house: House, days: tuple[tuple[float, int | None], ...], start: float, end: float
) -> tuple[tuple[float, int | None], ...]:
    """The days, and those beyond them up to `end` counted on."""
    found = [(at, day) for at, day in days if start <= at <= end]
    while found and found[-1][0] + DAY <= end:
        at, day = found[-1]
        later = None if day is None else day + 1 if day != -1 else 1
        site = house.site
        found.append((day_turn(at + 1.5 * DAY, site.day_starts, house.zone), later))
    return tuple(found)


def readout(
    w: Translator, start: float, end: float, points: tuple[Point, ...], plan: PlanLine | None
) -> Response:
    """What a finger on the curve is told: where the curve lies in its picture, and its points.

    A point is [share of its span, when, measured, plan], ready to be read; `across` are the left
    edge and the width of the curve in a picture of each size.
    """
    if not available():
        raise HTTPException(404)
    told = [
        [
            round((at - start) / (end - start), 4),
            w.clock(at),
            w.figure(value),
            w.figure(None if plan is None else plan.at(at)),
        ]
        for at, value in points
        if start <= at <= end
    ]
    return JSONResponse(
        {"points": told, "across": {name: size.across for name, size in sizes().items()}}
    )
