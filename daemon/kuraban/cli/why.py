"""`kuraban why`: why something rings or does not, at any moment of the journal."""

from __future__ import annotations

from typing import Annotated

import msgspec
import typer

from kuraban.cli.common import Site, say, say_json, watched
from kuraban.cli.completion import subjects
from kuraban.cli.moments import moment
from kuraban.core.texts.translator import Speech
from kuraban.core.texts.why_text import SaidCondition, SaidDelay, SaidWhy
from kuraban.core.timescale import moment_of
from kuraban.core.units import parse_time
from kuraban.queries.journal_state import clock
from kuraban.queries.why import Why
from kuraban.settings.paths import journal_of

BAR = 10
SIGNS = {"quiet": "·", "waits": "◔", "returned": "○", "listed": "◇", "in-hand": "◻"}
"""Before a condition that does not ring; one that does is filled."""


def add_to(app: typer.Typer) -> None:
    app.command(name="why", epilog="Example: kuraban why tank-3")(show)


def show(
    subject: Annotated[
        str,
        typer.Argument(
            metavar="SUBJECT", help="Id of a place, a cooler or a probe, a batch, or `watch`.",
            autocompletion=subjects,
        ),
    ],
    at: Annotated[
        str | None,
        typer.Option(
            "--at", metavar="TIME", help='At that moment: "22:10", "2h" ago, or a date.',
            show_default=False,
        ),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="As JSON, for a script.")] = False,
    site: Site = None,
) -> None:  # fmt: skip
    """Why something rings, or why it does not.

    What each detector saw at that moment: the value believed and from which probe, the plan, since
    when it is outside and how that was found, the delay spent and left, what holds it back, and
    what it would take. Lives through the journal up to then, which takes some seconds; changes
    nothing.
    """
    settings, words = watched(site)
    house = settings.house
    now = moment_of(clock(), house.zone)
    asked = None if at is None else moment(at, "--at", house.zone, now)
    language = house.site.language
    found = Why(journal_of(settings), words).ask(subject, asked, now, language)
    if as_json:
        say_json([msgspec.to_builtins(one) for one in found])
        return
    for number, one in enumerate(found):
        speech = Speech(words, language, house.zone, now)
        when = speech.clock(moment_of(parse_time(one.at), house.zone))
        say(("\n" if number else "") + f"{one.name}, {when}")
        _screen(one)


def _screen(found: SaidWhy) -> None:
    for said in found.known:
        say(f"  {said.text}")
    say()
    for condition in found.conditions:
        _condition(condition)


def _condition(told: SaidCondition) -> None:
    sign, told_all = SIGNS.get(told.hand, "◼"), (*told.seen, *told.lacks, *told.ends)
    if told.hand == "quiet":
        say(" ".join([f"{sign} {told.name}:", *(said.text for said in told_all)]))
        return
    say(f"{sign} {told.name}: {told.text}")
    if told.delay is not None:
        say(f"    {_bar(told.delay)} {told.delay.text}")
    for said in told_all:
        say(f"    {said.text}")


def _bar(delay: SaidDelay) -> str:
    """The share of the delay that is spent; the figures stand beside it."""
    spent = round(BAR * delay.spent / delay.wanted) if delay.wanted else BAR
    return "█" * spent + "░" * (BAR - spent)
