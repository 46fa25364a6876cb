"""`kuraban report`: the morning report now, and whether the calls of the last weeks were worth it.

The figures beside our own are those of ANSI/ISA-18.2 and EEMUA 191, from memory.
"""

from __future__ import annotations

from datetime import datetime
from typing import Annotated

import msgspec
import typer

from kuraban.cli.common import (
    Site,
    console,
    counted,
    dated,
    lasting,
    say,
    say_json,
    table,
    watched,
    wrong,
)
from kuraban.core.notify import reports
from kuraban.core.site import House
from kuraban.core.texts import messages
from kuraban.core.texts.translator import Words
from kuraban.core.timescale import moment_of
from kuraban.core.units import DAY
from kuraban.errors import JournalError
from kuraban.queries.journal_state import JournalState, clock, looking
from kuraban.queries.ring_review import NEEDED_DAYS, OWN_TARGETS, TARGETS, Rings, rings
from kuraban.settings.paths import journal_of

report = typer.Typer(invoke_without_command=True, rich_markup_mode=None)


def add_to(app: typer.Typer) -> None:
    app.add_typer(report, name="report", help="The morning report, and was each call worth it?")


@report.callback(epilog="Example: kuraban report --site site.toml")
def morning(
    context: typer.Context,
    language: Annotated[
        str | None, typer.Option(metavar="en|ja", help="Else the site's.", show_default=False)
    ] = None,
    site: Site = None,
) -> None:
    """The morning report as it would be sent now: the night, rings, probes, what is due."""
    context.obj = site
    if context.invoked_subcommand is not None:
        return
    if language not in (None, "en", "ja"):
        raise wrong("command line", "--language", f'"{language}" is not spoken', "give en or ja")
    settings, words = watched(site)
    with looking(journal_of(settings), words, moment_of(clock(), settings.house.zone)) as state:
        _begun(state)
        engine = state.engine
        told = reports.morning_report(
            engine.view,
            engine.alarm_manager,
            engine.daily_words.night,
            engine.notifier.deferred_alarms.waiting,
            engine.now,
        )
        tongue = language or settings.house.site.language
        text = messages.morning(told, tongue, words, settings.house.zone)
    say(text.title)
    for line in text.body.splitlines():
        say(f"  {line}")


def _begun(state: JournalState) -> None:
    if not state.engine.started:
        raise JournalError(f"{state.history.path}: nothing is in it yet")


@report.command(name="rings", hidden=True)  # its name until 0.2.0
@report.command(name="calls", epilog="Example: kuraban report calls --days 30")
def over(
    context: typer.Context,
    days: Annotated[int, typer.Option(metavar="N", help="So many days back.", min=1)] = 30,
    as_json: Annotated[bool, typer.Option("--json", help="As JSON, for a script.")] = False,
    site: Site = None,
) -> None:
    """Was each call worth it? Counts of the last days, beside the figures of the standards."""
    settings, words = watched(site or context.obj)
    now = moment_of(clock(), settings.house.zone)
    with looking(journal_of(settings), words, now) as state:
        _begun(state)
        house, history = state.engine.view.house, state.history
        end = now if state.last_turn is None else max(state.last_turn, now)
        start = end - days * DAY
        found = rings(
            history.steps(start, end), history.messages(start, end),
            history.counting(None, start, end + 1.0), start, end, house.site.day_starts, house.zone,
        )  # fmt: skip
    if as_json:
        say_json(dated(msgspec.to_builtins(found), house.zone))
    else:
        _screen(found, house, words)


def _screen(found: Rings, house: House, words: Words) -> None:
    first, last = (datetime.fromtimestamp(at, house.zone) for at in (found.start, found.end))
    alarms, phones = counted(found.alarms, "alarm"), counted(found.rings, "call")
    say(f"{first.day} {first:%b} to {last.day} {last:%b}: {alarms}, {phones}")
    out = console()
    out.print(_against(found))
    _people(found, house)
    _frequent(found, house, words)
    _named("Stood for more than a day", found.stale, house, words)
    _named("Came three times within a minute", found.chattering, house, words)
    _named("Over within a minute, unanswered", found.fleeting, house, words)
    if found.days < NEEDED_DAYS:
        say(f"\nFewer than {NEEDED_DAYS} days say little; the standards ask for {NEEDED_DAYS}.")
    say("\nAims are those of ANSI/ISA-18.2 and EEMUA 191, from memory, for somebody at a desk;")
    say("(own) are ours, for somebody asleep.")


def _against(found: Rings) -> object:
    made = table("", "here", "aim", right=("here",))
    flood, crowded = (f"{100 * share:.2f} %" for share in (found.in_flood, found.crowded))
    shares = ", ".join(f"{name} {100 * share:.0f} %" for name, share in found.urgencies.items())
    rows = (
        ("alarms a day", f"{found.alarms_a_day:.1f}", TARGETS["alarms_a_day"]),
        ("most in a day", f"{found.most_in_a_day}", ""),
        ("phones rung a day", f"{found.rings_a_day:.1f}", ""),
        ("most in 10 minutes", f"{found.most_in_10_min}", TARGETS["most_in_10_min"]),
        ("crowded ten minutes", crowded, TARGETS["crowded"]),
        ("time in flood", flood, TARGETS["in_flood"]),
        ("stale, most on a day", f"{found.stale_on_one_day}", TARGETS["stale"]),
        ("chattering", f"{len(found.chattering)}", TARGETS["chattering"]),
        ("ten most frequent", f"{100 * found.share_of_top:.0f} %", TARGETS["share_of_top"]),
        ("by urgency", shares, TARGETS["urgencies"]),
        ("answered", _answered(found), ""),
        ("judged", _judged(found), ""),
    )
    for row in rows:
        made.add_row(*row)
    return made


def _answered(found: Rings) -> str:
    if not found.answered:
        return f"0 of {found.unanswered}"
    time = f", median {lasting(found.answer_median or 0.0)}"
    every = found.answered + found.unanswered
    return f"{found.answered} of {every}{time}, longest {lasting(found.answer_longest or 0.0)}"


def _judged(found: Rings) -> str:
    return ", ".join(f"{was} {count}" for was, count in found.verdicts.items())


def _people(found: Rings, house: House) -> None:
    if not found.wakes:
        say("\nNobody was woken.")
        return
    say("\nWoken")
    nights = f"aims (own): {OWN_TARGETS['wakes_in_a_night']}, {OWN_TARGETS['needless']}"
    for person, count in sorted(found.wakes.items()):
        known = house.person.get(person)
        most = found.most_wakes_in_a_night.get(person, 0)
        needless = found.needless_by_person.get(person, 0)
        say(
            f"  {known.name if known else person}: rung {counted(count, 'time')}, at most "
            f"{most} in one night, {needless} needless"
        )
    say(f"  {nights}")


def _frequent(found: Rings, house: House, words: Words) -> None:
    if not found.frequent:
        return
    say("\nMost frequent")
    for one in found.frequent:
        share = f"{100 * one.share:.0f} %"
        say(f"  {counted(one.times, 'time')}, {share}: {_alarm(one.alarm, house, words)}")


def _named(title: str, alarms: tuple[str, ...], house: House, words: Words) -> None:
    if alarms:
        say(f"\n{title}")
    for alarm in alarms:
        say(f"  {_alarm(alarm, house, words)}")


def _alarm(alarm: str, house: House, words: Words) -> str:
    subject, _, condition = alarm.partition("/")
    name = words.catalogue["en"].get(f"{condition}.name", condition)
    return f"{house.name_of(subject)}, {name}"
