"""`kuraban log`: what people do, told to the watch from the command line."""

from __future__ import annotations

import re
from typing import Annotated
from uuid import uuid4

import msgspec
import typer

from kuraban.cli import fields as spelled
from kuraban.cli.common import Site, on_terminal, say, suggestion, tell, watched, wrong
from kuraban.cli.completion import subjects
from kuraban.cli.moments import moment
from kuraban.core import timescale
from kuraban.core.entries import kind_of
from kuraban.core.facts import Logged, Refusal
from kuraban.core.intake.entry_parser import entry_from
from kuraban.core.texts.translator import Words
from kuraban.core.units import show_time
from kuraban.errors import KurabanError
from kuraban.queries.entries.entry_plausibility import doubts
from kuraban.queries.journal_state import clock
from kuraban.settings import Settings
from kuraban.settings.paths import journal_of, settings_at

NEGATIVE = {"ignore_unknown_options": True}
"""So that a reading below zero is none of the options."""
FEW = 8
"""Names that are listed where none is near."""
_LISTED = re.compile(r"((?:.*)there are )(.+)", re.DOTALL)
_NEEDS = re.compile(r'(\S+ needs \w+): "(\w+)": (.+)')
_TOLD = re.compile(r'"([^"]*)"')
EXAMPLES = """\b
Examples:
  kuraban log tank-3 stir for=20m --by aki
  kuraban log tank-3 check 10.2 --at 22:10
  kuraban log tank-3 aim celsius=11.5 by=06:00"""


def add_to(app: typer.Typer) -> None:
    app.command(name="log", epilog=EXAMPLES, context_settings=NEGATIVE)(log)


def _entries(incomplete: str) -> list[str]:
    return [kind for kind in spelled.KINDS if kind.startswith(incomplete)]


def _fields(ctx: typer.Context, incomplete: str) -> list[str]:
    kind = ctx.params.get("entry") or ""
    try:
        house = settings_at(ctx.params.get("site"), secrets=False).house
    except KurabanError:
        house = None
    return [word for word in spelled.offers(kind, house) if word.startswith(incomplete)]


def log(
    subject: Annotated[
        str,
        typer.Argument(
            metavar="SUBJECT",
            help="Id of the place, cooler or probe it is about, or watch.",
            autocompletion=subjects,
        ),
    ],
    entry: Annotated[
        str,
        typer.Argument(
            metavar="ENTRY", help="What was done, such as stir.", autocompletion=_entries
        ),
    ],
    fields: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="FIELD=VALUE",
            help="More about it; a bare value fills the first field that is free.",
            autocompletion=_fields,
            show_default=False,
        ),
    ] = None,
    by: Annotated[
        str | None, typer.Option(metavar="NAME", help="Who did it.", show_default=False)
    ] = None,
    at: Annotated[
        str | None,
        typer.Option(
            metavar="TIME",
            help='When it was, if not now: "22:10", "-20m" or a date and time.',
            show_default=False,
        ),
    ] = None,
    yes: Annotated[bool, typer.Option("--yes", "-y", help="Do not ask back.")] = False,
    site: Site = None,
) -> None:
    """Tell the watch what was done: a stir, a sample, a stage.

    Also "I have it", and whatever else people do. It is checked as the watch itself will check it
    and handed to the broker; the watch acts on it within a second. Late is better than never: --at
    says when it really was.
    """
    settings, words = watched(site, secrets=True)
    now = timescale.moment_of(clock(), settings.house.zone)
    if subject in spelled.KINDS and entry not in spelled.KINDS:
        right = f"write: kuraban log {entry} {subject}"
        raise wrong("command line", f"{subject} {entry}", "the place comes before the entry", right)
    told = _told(settings, subject, entry, fields or [], by, at, now)
    logged = entry_from(dict(told), subject, settings.house, now, "command")
    if isinstance(logged, Refusal):
        raise wrong("command line", f"{subject} {entry}", *_halves(logged.reason, subject, entry))
    waits = _ask_back(settings, words, logged, now, yes)
    _publish(settings, subject, told)
    when = show_time(logged.at, settings.house.zone)
    name = settings.house.name_of(subject)
    say(f"{name}: {kind_of(logged.entry)} at {when[11:16]}, sent to the watch as entry {logged.id}")
    if waits:
        say("It counts once the brewer or a second person has confirmed it:")
        say(f"  kuraban log {subject} confirm {logged.id} --by NAME")


def _told(
    settings: Settings, subject: str, entry: str, typed: list[str], by: str | None,
    at: str | None, now: float,
) -> dict[str, object]:  # fmt: skip
    """The entry as the JSON object that goes out."""
    zone = settings.house.zone
    moment_of = int(now * 1000) / 1000 if at is None else moment(at, "--at", zone, now)
    told: dict[str, object] = {"entry": entry, "id": str(uuid4())}
    told |= spelled.read(entry, typed, zone, moment_of)
    told["at"] = show_time(moment_of, zone)
    if by is not None:
        told["who" if "by" in told else "by"] = by
    return told


def _halves(reason: str, subject: str, entry: str = "") -> tuple[str, str]:
    """What is wrong, and what would be right where the reason says so itself."""
    if (needs := _NEEDS.fullmatch(reason)) is not None:
        what, field, value = needs.groups()
        return what, f"such as: kuraban log {subject} {entry} {field}={value}"
    what, _, right = reason.partition("; ")
    listed, told = _LISTED.fullmatch(right), _TOLD.search(what)
    if listed is not None and told is not None:
        known = listed[2].split(", ")
        right = suggestion(told[1], known)
        if right.startswith("there"):  # the door's own words say for what
            rest = f" and {len(known) - FEW} more" if len(known) > FEW else ""
            right = f"{listed[1]}{', '.join(known[:FEW])}{rest}"
    return what, right or "see kuraban log --help"


def _ask_back(settings: Settings, words: Words, logged: Logged, now: float, yes: bool) -> bool:
    """Ask about doubts where somebody can answer, tell them elsewhere; whether the entry will wait
    for a second person."""
    found = doubts(journal_of(settings), words, logged, now)
    if found.refused is not None:
        raise wrong("command line", logged.subject, *_halves(found.refused, logged.subject))
    for question in found.questions:
        tell(question)
    if found.questions and not yes and on_terminal() and not typer.confirm("Is that right?"):
        say("Nothing was sent.")
        raise typer.Exit
    return found.waits


def _publish(settings: Settings, subject: str, told: dict[str, object]) -> None:
    from kuraban.edges.mqtt.oneshot import publish

    topic = f"{settings.mqtt.root}/log/{subject}"
    if not publish(settings.mqtt, topic, msgspec.json.encode(told)):
        tell("The broker has it, but nobody listens there: is the watch running?")
