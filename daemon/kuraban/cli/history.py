"""`kuraban history`: a place's last hours as a table and a small chart, or as CSV or JSON."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from datetime import datetime
from functools import cache, partial
from pathlib import Path
from typing import Annotated

import typer
from rich.text import Text

from kuraban.cli.common import (
    Site,
    console,
    house_of,
    say,
    say_json,
    suggestion,
    table,
    tell,
    watched,
    wrong,
)
from kuraban.cli.completion import places
from kuraban.cli.moments import moment
from kuraban.cli.text_chart import GAP, chart
from kuraban.core.intake.typed_figures import narrow, span
from kuraban.core.site import House
from kuraban.core.texts.translator import Speech, figure
from kuraban.core.timescale import moment_of
from kuraban.core.units import DAY, HOUR, show_time
from kuraban.edges.table_writer import csv_rows
from kuraban.errors import JournalError
from kuraban.queries.full_readings import FullReadings, Source
from kuraban.queries.journal_state import JournalState, clock, looking
from kuraban.queries.place_timeseries import STEP, Row, rows
from kuraban.queries.summary_notice import kept
from kuraban.settings import Settings
from kuraban.settings.paths import journal_of
from kuraban.store.history import History

STEPS = (STEP, 1800.0, HOUR, 3 * HOUR, 6 * HOUR, DAY)
"""What a row of the table may hold; the shortest with which it stays readable is taken."""
READABLE = 80


def add_to(app: typer.Typer) -> None:
    app.command(name="history", epilog="Example: kuraban history tank-3 --since 12h")(show)


def show(
    place: Annotated[
        str, typer.Argument(metavar="PLACE", help="Id of the place.", autocompletion=places)
    ],
    since: Annotated[
        str, typer.Option(metavar="TIME", help='From then on: "12h" ago, "22:10", or a date.')
    ] = "12h",
    until: Annotated[
        str | None,
        typer.Option(metavar="TIME", help="Up to then, if not now.", show_default=False),
    ] = None,
    as_csv: Annotated[bool, typer.Option("--csv", help="As CSV, ten minutes a row.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="As JSON, ten minutes a row.")] = False,
    site: Site = None,
) -> None:
    """What a place measured, what was planned, and what people did.

    A value is the median of its ten minutes; the plan is the one in force at its time.
    """
    if as_csv and as_json:
        raise wrong("command line", "--csv", "stands beside --json", "give one or the other")
    settings, words = watched(site)
    house, now = settings.house, moment_of(clock(), settings.house.zone)
    if place not in house.place:
        raise wrong("command line", "PLACE", f'there is no place "{place}"', _places(place, house))
    end = now if until is None else moment(until, "--until", house.zone, now)
    start = _start(since, house, end, now)
    step = STEP if as_csv or as_json else _step(end - start)
    with looking(journal_of(settings), words, now) as state:
        if not state.engine.started:
            raise JournalError(f"{journal_of(settings)}: nothing is in it yet")
        full = FullReadings(state.history, [*_sources(settings, site)], house)
        found = rows(state, place, start, end, step, full)
        speech = Speech(words, house.site.language, house.zone, now)
        for line in _lacking(state.history, full, start, speech):
            (tell if as_csv or as_json else say)(line)
        if as_csv:
            _csv(found, house)
        elif as_json:
            say_json([{**_figures(row, house), "did": list(row.did)} for row in found])
        else:
            _screen(state, place, found, step)


def _sources(settings: Settings, site: Path | None) -> Iterator[Source]:
    """Who has readings in full, the nearest first."""
    if settings.folder is not None:
        from kuraban.edges.history.folder_reader import readings

        yield partial(readings, Path(settings.folder.url))
    if settings.history is not None:
        yield _asking(site)


def _asking(site: Path | None) -> Source:
    """The engine: its library is heavy, and its token not everybody's to read."""

    @cache
    def engine() -> Source:
        from kuraban.edges.history.engine_reader import EngineReader

        settings, _ = house_of(site, secrets=True)
        assert settings.history is not None
        return EngineReader(settings.history, settings.house.site.name)

    return lambda probe, start, end: engine()(probe, start, end)


def _lacking(history: History, full: FullReadings, start: float, speech: Speech) -> Iterator[str]:
    """Of what there are only summaries, and why."""
    for trouble in full.troubles:
        yield speech.say("kept.trouble", reason=trouble)
    if full.short:
        yield from kept(history, full.short, start, max(full.short.values()) + 1.0, speech)
    if full.short and full.sources:
        yield speech.say("kept.neither")


def _places(place: str, house: House) -> str:
    return suggestion(place, {one.id: one.name for one in house.places})


def _start(since: str, house: House, end: float, now: float) -> float:
    try:
        start = end - span(narrow(since).lstrip("-"))
    except ValueError:
        start = moment(since, "--since", house.zone, now)
    if start >= end:
        right = "say an earlier --since, or a later --until"
        raise wrong("command line", "--since", f'"{since}" is not before the end', right)
    return start


def _step(length: float) -> float:
    return next((step for step in STEPS if length / step <= READABLE), STEPS[-1])


def _figures(row: Row, house: House) -> dict[str, str | float | None]:
    return {
        "at": show_time(row.at, house.zone),
        "measured": _rounded(row.measured),
        "planned": _rounded(row.planned),
        "difference": _rounded(row.difference),
    }


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 3)


def _csv(found: list[Row], house: House) -> None:
    write = csv_rows(sys.stdout, end="\n")
    write([("at", "measured", "planned", "difference", "did")])
    write([*_figures(row, house).values(), "; ".join(row.did)] for row in found)


def _screen(state: JournalState, place: str, found: list[Row], step: float) -> None:
    house, out = state.engine.view.house, console()
    measured = [(row.at, row.measured) for row in found if row.measured is not None]
    planned = [(row.at, row.planned) for row in found if row.planned is not None]
    if not measured and not planned:
        say(f"{house.name_of(place)}: nothing was measured or planned then.")
        return
    say(f"{house.name_of(place)}, °C")
    out.print(_table(found, house))
    drawn = chart(measured, planned, min(out.width, 100)) if step <= GAP else []
    for line in drawn:
        out.print(line, no_wrap=True, overflow="crop")
    if drawn:
        first, last = (
            f"{datetime.fromtimestamp(row.at, house.zone):%H:%M}" for row in (found[0], found[-1])
        )
        out.print(
            Text(
                f"       {first} to {last}; the line is measured, the dashes are the plan",
                style="dim",
            )
        )


def _table(found: list[Row], house: House) -> object:
    made = table(
        "time", "measured", "plan", "from plan", "done", right=("measured", "plan", "from plan")
    )
    day = ""
    for row in found:
        local = datetime.fromtimestamp(row.at, house.zone)
        date = f"{local.day} {local:%b} "
        made.add_row(
            (date if date != day else "") + f"{local:%H:%M}",
            _shown(row.measured),
            _shown(row.planned),
            "" if row.difference is None else figure(row.difference, 1, True),
            "; ".join(row.did),
        )
        day = date
    made.columns[0].justify = "right"
    return made


def _shown(value: float | None) -> str:
    return "" if value is None else figure(value)
