"""`kuraban reckon left`, `progress`, `koji`: what is asked of a place that runs.

The watch's journal is read, nobody is disturbed.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import Annotated, NamedTuple

import msgspec
import typer

from kuraban.cli.common import (
    AsJson,
    Site,
    console,
    dated,
    say,
    say_json,
    suggestion,
    table,
    tell,
    watched,
    wrong,
)
from kuraban.cli.completion import places
from kuraban.core.forecast.time_to_limit import Hours, alcohol_a_day, hours_left
from kuraban.core.house_view import HouseView
from kuraban.core.plan.fill_level import litres_in
from kuraban.core.plan.subject_state import Batch
from kuraban.core.texts.translator import figure
from kuraban.core.timescale import moment_of
from kuraban.core.units import HOUR
from kuraban.core.views.batch_sheet import Proposal
from kuraban.errors import JournalError
from kuraban.queries.batches.progress import Progress, Works, progress, proposed, works
from kuraban.queries.equipment.koji import heat_of
from kuraban.queries.journal_state import clock, looking
from kuraban.settings.paths import journal_of
from kuraban.trade.density import alcohol_by_fall
from kuraban.trade.heat import LIQUID_SHARE, fermentation_watts
from kuraban.trade.koji import burned_starch, burned_watts, vapour_watts, water_lost

ADVICE = "Advice only: the face, nose and tongue of the brewer come first."
Place = Annotated[
    str, typer.Argument(metavar="PLACE", help="Id of the place.", autocompletion=places)
]
STILL = 180.0
"""Seconds after which a watch that wrote nothing is asked about."""
HINTS = {
    "open": "It is decided from BMD, taste and smell.",
    "with-course": "BMD goes with the course.",
    "late": "BMD runs late: a few tenths warmer are usual.",
    "early": "BMD runs early: a few tenths colder are usual.",
    "with-line": "BMD {bmd} on day {day} goes with the house's line, {wanted}.",
    "above-line": "BMD {bmd} on day {day} is above the house's line, {wanted}: behind it, a few "
    "tenths warmer are usual.",
    "below-line": "BMD {bmd} on day {day} is below the house's line, {wanted}: ahead of it, a few "
    "tenths colder are usual.",
}
BASES = {
    "own warm-ups": "its own warm-ups of the last 13 h",
    "samples": "its samples' alcohol, its litres and the cellar's air",
    "course": "the usual ferment of such a course, its litres and the cellar's air: a rough guess "
    "that lets no alarm wait",
}


class Running(NamedTuple):
    """A place with its batch, at the last moment that the watch wrote."""

    view: HouseView
    place: str
    name: str
    batch: Batch
    now: float


def add_to(group: typer.Typer) -> None:
    group.command(name="left", epilog="Example: kuraban reckon left tank-2")(left)
    group.command(name="progress", epilog="Example: kuraban reckon progress tank-2")(show_progress)
    group.command(name="koji", epilog="Example: kuraban reckon koji koji-bed-1")(koji)


def told(line: str, *more: str, rests: str, source: str) -> None:
    """A figure with its range, what it rests on and where it comes from."""
    say(line)
    for each in more:
        say(f"  {each}")
    say(f"  rests on: {rests}")
    say(f"  source: {source}")
    say(ADVICE)


@contextmanager
def _running(place: str, site: Path | None) -> Iterator[Running]:
    """The place as the journal leaves it; ConfigurationError where no batch runs there."""
    settings, words = watched(site)
    if place not in settings.house.place:
        right = suggestion(place, {one.id: one.name for one in settings.house.places})
        raise wrong("command line", "PLACE", f'there is no place "{place}"', right)
    path = journal_of(settings)
    with looking(path, words, moment_of(clock(), settings.house.zone)) as state:
        if not state.engine.started:
            raise JournalError(f"{path}: nothing is in it yet")
        view, now = state.engine.view, state.engine.now
        batch = view.batch(place, now) if place in view.house.place else None
        if batch is None:
            raise wrong("command line", "PLACE", f"no batch runs in {place}", "log its batch-start")
        if state.asked - now > STILL:
            tell(f"As it stood at {datetime.fromtimestamp(now, view.house.zone):%d %b %H:%M}: "
                 "is the watch running?")  # fmt: skip
        yield Running(view, place, view.house.name_of(place), batch, now)


# How long have I got.


def left(place: Place, site: Site = None) -> None:
    """How long until a tank leaves its tolerance and its limit, if cooling stopped now."""
    with _running(place, site) as run:
        if run.view.house.place[place].kind == "koji-bed":
            say(f"{run.name} is koji: ask for its next work, kuraban reckon koji {place}")
            return
        found = hours_left(run.view, place, run.now)
        if found is None:
            say(f"{run.name}: not known. It takes a believed product and own warm-ups, or litres "
                "and the cellar's air.")  # fmt: skip
            return
        limit = _hours(found.limit_soonest, found.limit_latest)
        say(f"{run.name}, if cooling stopped now: {_hours(found.soonest, found.latest)} "
            f"to its tolerance, {limit} to its limit")  # fmt: skip
        for line in _heat(run, found):
            say(f"  {line}")
        say(f"  rests on: {BASES[found.rests_on]}")
        say("  source: Theil-Sen slope of its record, or 24 kcal a mol of sugar (Colombié et al. "
            "2007); growth 12 % a degree, common practice")  # fmt: skip
        say(ADVICE)


def _hours(soonest: float, latest: float) -> str:
    if soonest == math.inf:
        return "more than 48 h"
    if latest == math.inf:
        return f"{soonest:.1f} h or more"
    return f"{soonest:.1f} to {latest:.1f} h"


def _heat(run: Running, found: Hours) -> Iterator[str]:
    slow, fast = figure(found.slow, 2, True), figure(found.fast, 2, True)
    yield f"uncooled it would move {slow} to {fast} K/h"
    if found.record is not None:
        yield f"warm-ups seen: {found.record:.1f} h"
    if found.shut is not None:
        spare = f"{100 * found.shut:.0f} %"
        yield f"nothing cooled it {spare} of that time: so much its cooling has to spare"
    made = alcohol_a_day(run.view, run.place, run.now)
    litres = litres_in(run.view.entry_log, run.place, run.now)
    size = litres if litres else run.view.house.place[run.place].litres
    if made is not None and size:
        watts = [fermentation_watts(rate, size, LIQUID_SHARE) for rate in made]
        yield (f"ferment {made[0]:.1f} to {made[1]:.1f} %/day in {size:.0f} L: "
               f"{watts[0]:.0f} to {watts[1]:.0f} W")  # fmt: skip


# Progress.


def show_progress(
    place: Place,
    as_json: AsJson = False,
    site: Site = None,
) -> None:
    """Baume (ボーメ), SMV (日本酒度), BMD, and the day on which Baume is zero."""
    with _running(place, site) as run:
        found = progress(run.view.house, run.view.entry_log.about(place), run.batch, run.now)
        course = run.batch.course
        target = run.view.house.course.get(course.id, course).target
        proposal = proposed(found, target, course.never, run.now)
        if as_json:
            told = msgspec.to_builtins(found) | {"proposed": msgspec.to_builtins(proposal)}
            say_json(dated(told, run.view.house.zone))
            return
        say(f"{run.name}, {run.batch.title or run.batch.name}"
            + (f", moromi day {found.today}" if found.today is not None else ""))  # fmt: skip
        if not found.samples:
            say("No samples are logged: kuraban log " + place + " sample baume=4.2 alcohol=12.1")
            return
        console().print(_table(run, found))
        for line in _forecast(found, proposal):
            say(line)
        say("  rests on: whole brewery days for BMD; the forecast takes the hour and ±0.05 Baume")
        say('  source: Nada Sake Research Group glossary, "BMD curve"; the range is computed')
        say(ADVICE)


def _table(run: Running, found: Progress) -> object:
    made = table("", "day", "Baume", "SMV", "BMD", "alcohol", "acidity",
                 right=("day", "Baume", "SMV", "BMD", "alcohol", "acidity"))  # fmt: skip
    for sample in found.samples[-14:]:
        local = datetime.fromtimestamp(sample.at, run.view.house.zone)
        baume = sample.baume
        made.add_row(
            f"{local.day} {local:%b %H:%M}",
            "" if sample.day is None else str(sample.day),
            _or(baume, 1),
            "" if baume is None else figure(-10 * baume, 0, True),
            _or(sample.bmd, 1),
            _or(sample.alcohol, 1),
            _or(sample.acidity, 1),
        )
    return made


def _or(value: float | None, decimals: int) -> str:
    return "" if value is None else figure(value, decimals)


def _forecast(found: Progress, proposal: Proposal | None) -> Iterator[str]:
    if found.corrected is not None:
        yield f"The forecast starts anew after the {found.corrected}, which moved Baume by itself."
    if found.slope is not None:
        yield f"Alcohol against Baume (A-B): {figure(found.slope)} % a degree, ±1 % ABV at best"
        yield from _fallen(found, found.slope)
    zero = found.zero
    if zero is None:
        yield "Baume zero: no forecast before BMD has clearly turned down."
    else:
        span = f"{math.floor(zero.earliest)} to {math.ceil(zero.latest)}"
        yield (f"Baume zero about day {zero.likely:.0f} ({span}: Baume's own pace, which slows "
               "down, and BMD's line, which runs late)"
               + (f"; the course ends on day {found.ends:.0f}" if found.ends else ""))  # fmt: skip
    if proposal is not None:
        yield f"Tomorrow morning the plan has {figure(proposal.planned)} °C. {_hint(proposal)}"


def _fallen(found: Progress, slope: float) -> Iterator[str]:
    """The alcohol of now, where Baume was read since alcohol was."""
    both = [s for s in found.samples if s.alcohol is not None and s.baume is not None]
    now = found.samples[-1].baume
    if both and both[-1] is not found.samples[-1] and now is not None and 0.5 <= slope <= 2:
        alcohol, baume = both[-1].alcohol, both[-1].baume
        assert alcohol is not None and baume is not None
        yield f"  so about {figure(alcohol_by_fall(alcohol, baume, now, slope))} % by now"


def _hint(proposal: Proposal) -> str:
    """What the samples propose, and why; nothing is applied."""
    facts = {name: f"{value:.1f}".removesuffix(".0") for name, value in proposal.facts}
    why = HINTS[proposal.why].format(**facts)
    if proposal.celsius == proposal.planned:
        return why
    return f"{why} Proposed: {figure(proposal.celsius)} °C, if taste and smell agree."


# Koji.


def koji(
    place: Place,
    weighed: Annotated[
        tuple[float, float] | None,
        typer.Option(metavar="KG KG", help="Weight of the lot before and now.", show_default=False),
    ] = None,
    hours: Annotated[
        float | None,
        typer.Option("--over", metavar="HOURS", help="Between the two.", show_default=False),
    ] = None,
    as_json: AsJson = False,
    site: Site = None,
) -> None:
    """When the next work on a koji bed (手入れ) is due by the bed's own rise, and its heat.

    With two weights of the lot: the water that left it (水分) and the heat that went with it.
    """
    with _running(place, site) as run:
        if run.view.house.place[place].kind != "koji-bed":
            raise wrong("command line", "PLACE", f"{place} is no koji bed", "name a koji-bed")
        found = works(run.view, place, run.batch, run.now)
        if as_json:
            say_json(dated(_document(run, found, weighed, hours), run.view.house.zone))
            return
        if found is None:
            say(f"{run.name}: not known yet. It takes half an hour of undisturbed readings.")
            return
        for line in (*_works(run, found), *_given_off(run, found, weighed, hours)):
            say(line)
        say("  rests on: its own rise of the last hour, Theil-Sen with its 90 % range")
        say("  source: Sen 1968, JASA 63:1379; the figure aimed at is the course's")
        say(ADVICE)


def _document(
    run: Running, found: Works | None, weighed: tuple[float, float] | None, hours: float | None
) -> dict[str, object] | None:
    """The same for a script: °C, K/h, W, kg; when the figure is reached as a time, None for
    never."""
    if found is None:
        return None
    told = msgspec.to_builtins(found)
    reached = found.hours.soonest, found.hours.latest
    told["reached"] = [None if h == math.inf else run.now + h * HOUR for h in reached]
    del told["hours"]
    told["last"] = [dict(zip(("work", "at", "moved"), one, strict=True)) for one in found.last]
    told["rise_watts"] = _rise(run, found)
    if weighed is not None:
        lost = water_lost(*weighed)
        told |= {"water_kg": lost, "starch_kg": burned_starch(*weighed)}
        if hours:
            told["made_watts"] = burned_watts(told["starch_kg"], hours)
            told["vapour_watts"] = vapour_watts(lost, hours, found.product)
    return {"place": run.place, "at": run.now, **told}


def _rise(run: Running, found: Works) -> tuple[float, float] | None:
    return heat_of(run.batch, (found.slow, found.fast), run.now - run.batch.begun[0])


def _works(run: Running, found: Works) -> Iterator[str]:
    then = f" ({found.following} next)" if found.following else ""
    yield (f"{run.name}, {found.stage}: {figure(found.product)} °C, "
           f"{figure(found.slow, 1, True)} to {figure(found.fast, 1, True)} K/h")  # fmt: skip
    soonest, latest = found.hours.soonest, found.hours.latest
    if soonest == math.inf:
        yield f"  It does not move towards {figure(found.goal)} °C{then}."
    else:
        until = "" if latest == math.inf else f" to {_clock(run, run.now + latest * HOUR)}"
        yield (f"  At {figure(found.goal)} °C about "
               f"{_clock(run, run.now + soonest * HOUR)}{until}{then}")  # fmt: skip
    yield f"  The course expects it at {_clock(run, found.due)}."
    for name, at, moved in found.last:
        yield f"  {name} at {_clock(run, at)} moved the bed {figure(moved, 1, True)} K"


def _given_off(
    run: Running, found: Works, weighed: tuple[float, float] | None, hours: float | None
) -> Iterator[str]:
    watts = _rise(run, found)
    if watts is not None:
        span = f"{watts[0]:.0f} to {watts[1]:.0f} W"
        yield f"  Its rise alone takes {span} of its heat (発熱); at least so much is made"
    if weighed is None:
        return
    burned, lost = burned_starch(*weighed), water_lost(*weighed)
    yield (f"  Water that left (水分): {figure(lost)} kg, {100 * lost / weighed[0]:.0f} %; burned "
           f"about {figure(burned)} kg of starch (±30 %), from which more of it came")  # fmt: skip
    if hours:
        made, gone = burned_watts(burned, hours), vapour_watts(lost, hours, found.product)
        yield (f"  That made about {made:.0f} W, of which {gone:.0f} W went with the vapour; the "
               "rest warmed the bed or went to the room by touch and draught")  # fmt: skip


def _clock(run: Running, at: float) -> str:
    return f"{datetime.fromtimestamp(at, run.view.house.zone):%H:%M}"
