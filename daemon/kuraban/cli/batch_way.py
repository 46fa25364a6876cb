"""`kuraban batch way`: what went into a batch, where it stood, and where it went."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from typing import Annotated

import typer

from kuraban.cli.common import Site, say, say_json, suggestion, watched, wrong
from kuraban.core.site import House
from kuraban.core.texts.translator import figure
from kuraban.core.timescale import moment_of
from kuraban.core.views.batch_way import Joint, Stood
from kuraban.queries.batches.batch_history import BatchHistory
from kuraban.queries.batches.batch_way import way_of
from kuraban.queries.journal_state import clock, open_history
from kuraban.settings.paths import journal_of

HOW = {"added": "went into", "merged": "joined", "pressed": "was pressed into"}


def way(
    batch: Annotated[str, typer.Argument(metavar="BATCH", help="Name of the batch or lot.")],
    as_json: Annotated[bool, typer.Option("--json", help="As JSON, for a script.")] = False,
    site: Site = None,
) -> None:
    """What went into a batch, where it stood, and where it went: walked both ways.

    From `addition` entries that name their `batch`, from `merge` and from `press`. Pressed sake is
    told with the degree-days that it had, and with what each heating reached and held.
    """
    settings, _ = watched(site)
    house = settings.house
    history = open_history(journal_of(settings))
    try:
        known = BatchHistory(house)
        known.catch_up(history)
        found = way_of(history, known, house, batch, moment_of(clock(), house.zone))
    finally:
        history.close()
    if not found.stood and not found.joints:
        raise unknown(known, batch)
    if as_json:
        say_json(found.told(house.zone))
        return
    for joint in found.joints:
        say(_joint(joint, house))
    for stood in found.stood:
        for line in _stood(stood, house):
            say(line)


def _joint(joint: Joint, house: House) -> str:
    into = house.name_of(joint.place)
    named = "" if joint.into == joint.source else f", batch {joint.into}"
    return f"{_day(joint.at, house)}  {joint.source} {HOW[joint.how]} {into}{named}"


def _stood(stood: Stood, house: House) -> Iterator[str]:
    until = "on" if stood.end is None else f"to {_day(stood.end, house)}"
    yield f"{stood.batch}: {house.name_of(stood.place)}, {_day(stood.start, house)} {until}"
    if stood.warmth is not None:
        days = figure(stood.warmth.days, 0)
        yield f"  warmth: {stood.warmth.degree_days:.0f} °C·days above 0 in {days} days read"
    for heating in stood.heatings:
        reached = heating.held
        yield (f"  heating (火入れ) {_day(heating.at, house)}: {figure(reached.highest)} °C, "
               f"{figure(heating.least)} or more for {reached.minutes:.0f} min"
               + ("" if reached.minutes else ": NEVER REACHED"))  # fmt: skip


def _day(at: float, house: House) -> str:
    return f"{datetime.fromtimestamp(at, house.zone):%Y-%m-%d %H:%M}"


def unknown(batch_history: BatchHistory, batch: str) -> Exception:
    """No batch of that name was ever begun."""
    known = sorted({stay.batch.name for stays in batch_history.stays.values() for stay in stays})
    right = suggestion(batch, known) if known else "no batch was ever begun here"
    return wrong("command line", "BATCH", f'no batch "{batch}" is known then', right)
