"""`kuraban duty`: who is on duty when, and two people exchanging theirs for a day."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from typing import Annotated
from uuid import uuid4

import msgspec
import typer

from kuraban.cli.common import Site, console, say, say_json, table, tell, watched, wrong
from kuraban.cli.completion import people
from kuraban.core import rota
from kuraban.core.facts import Refusal
from kuraban.core.intake.entry_parser import entry_from
from kuraban.core.site import WATCH, House
from kuraban.core.texts.translator import Words
from kuraban.core.timescale import moment_of
from kuraban.core.units import at_clock, brewery_day, show_time
from kuraban.errors import JournalError
from kuraban.queries.journal_state import clock, looking
from kuraban.settings import Settings
from kuraban.settings.paths import journal_of

NEAR = {"today": 0, "tonight": 0, "tomorrow": 1}
NOON, NIGHT = 12 * 3600.0, 26 * 3600.0
"""The two moments by which a day of the rota is shown: noon, and two in the night after it."""

EXAMPLES = """\b
Examples:
  kuraban duty show --days 3
  kuraban duty swap aki sho --on tomorrow --by aki"""

duty = typer.Typer(invoke_without_command=True, rich_markup_mode=None, epilog=EXAMPLES)


def add_to(app: typer.Typer) -> None:
    app.add_typer(duty, name="duty", help="Who is on duty, and swapping it for a day.")


@duty.callback()
def of_the_week(context: typer.Context, site: Site = None) -> None:
    """Who is on duty this week; or one of the commands."""
    if context.invoked_subcommand is None:
        show(site=site)
    elif site is not None:
        right = f"write it behind: kuraban duty {context.invoked_subcommand} --site …"
        raise wrong("command line", "--site", "stands before the command", right)


@duty.command(epilog="Example: kuraban duty show --days 7")
def show(
    days: Annotated[int, typer.Option(metavar="N", help="So many days.", min=1, max=60)] = 7,
    as_json: Annotated[bool, typer.Option("--json", help="As JSON, for a script.")] = False,
    site: Site = None,
) -> None:
    """Who is on duty at noon and in the night of each day, swaps included."""
    settings, words = watched(site)
    house, now = _manned(settings, words), moment_of(clock(), settings.house.zone)
    today = brewery_day(now, house.site.day_starts, house.zone)
    roles = dict.fromkeys(line.role for line in house.rota)
    roles |= dict.fromkeys(shift.role for shift in house.shifts)
    made, rows = table("day", "role", "by day", "at night"), list[dict[str, object]]()
    for ahead in range(days):
        day = today + timedelta(days=ahead)
        for number, role in enumerate(roles):
            shown = f"{day:%a} {day.day} {day:%b}" if number == 0 else ""
            noon, night = (_at(house, role, day, at) for at in (NOON, NIGHT))
            made.add_row(shown, role, ", ".join(noon) or "nobody", ", ".join(night) or "nobody")
            rows.append({"day": day, "role": role, "by_day": noon, "at_night": night})
    say_json(rows) if as_json else console().print(made)


def _at(house: House, role: str, day: date, clock_at: float) -> list[str]:
    """Names of those on duty, in the order in which they are rung."""
    at = at_clock(day, clock_at, house.zone)
    return [
        house.person[one.person].name + (" (away)" if _away(house, one.person, at) else "")
        for one in rota.holders(house, role, at)
        if one.person in house.person
    ]


def _away(house: House, person: str, at: float) -> bool:
    return rota.arrival(house, person, at) is not None


def _manned(settings: Settings, words: Words) -> House:
    """The house with the swaps that the watch knows, where there is a journal to read."""
    try:
        now = moment_of(clock(), settings.house.zone)
        with looking(journal_of(settings), words, now) as state:
            if not state.engine.started:
                return settings.house
            swaps = tuple(state.engine.view.entry_log.swaps)
    except JournalError:
        return settings.house
    return msgspec.structs.replace(settings.house, swaps=swaps)


@duty.command(epilog="Example: kuraban duty swap aki sho --on tomorrow --by aki")
def swap(
    person: Annotated[str, typer.Argument(metavar="PERSON", autocompletion=people)],
    other: Annotated[str, typer.Argument(metavar="PERSON", autocompletion=people)],
    on: Annotated[
        str,
        typer.Option(metavar="DATE", help='The day on which the duties begin: "2026-02-01".'),
    ] = "today",
    role: Annotated[
        str | None,
        typer.Option(metavar="ROLE", help="In this role alone, else in all.", show_default=False),
    ] = None,
    by: Annotated[
        str | None, typer.Option(metavar="NAME", help="Who says so.", show_default=False)
    ] = None,
    site: Site = None,
) -> None:
    """Exchange the duties of two people that begin on one day.

    A night belongs to the day on which it begins. To undo it, swap again or take the entry back.
    """
    settings, _ = watched(site, secrets=True)
    house, now = settings.house, moment_of(clock(), settings.house.zone)
    day = _day(on, house, now)
    told: dict[str, object] = {
        "entry": "duty-swap", "id": str(uuid4()), "from": person, "to": other,
        "day": day.isoformat(), "at": show_time(now, house.zone),
    }  # fmt: skip
    told |= {key: value for key, value in (("role", role), ("by", by)) if value is not None}
    logged = entry_from(dict(told), WATCH, house, now, "command")
    if isinstance(logged, Refusal):
        what, _, right = logged.reason.partition("; ")
        raise wrong("command line", "duty swap", what, right or "see kuraban duty swap --help")
    _publish(settings, told)
    names = " and ".join(house.person[one].name for one in (person, other))
    in_role = "" if role is None else f" as {role}"
    say(f"{names} swap their duties{in_role} of {day:%a} {day.day} {day:%b}.")
    say(f"To undo it: kuraban log watch take-back of={logged.id}")


def _day(text: str, house: House, now: float) -> date:
    if text in NEAR:
        today = brewery_day(now, house.site.day_starts, house.zone)
        return today + timedelta(days=NEAR[text])
    try:
        return datetime.strptime(text, "%Y-%m-%d").date()
    except ValueError:
        right = 'write a day such as "2026-02-01", or today or tomorrow'
        raise wrong("command line", "--on", f'"{text}" is no day', right) from None


def _publish(settings: Settings, told: dict[str, object]) -> None:
    from kuraban.edges.mqtt.oneshot import publish

    topic = f"{settings.mqtt.root}/log/{WATCH}"
    if not publish(settings.mqtt, topic, msgspec.json.encode(told)):
        tell("The broker has it, but nobody listens there: is the watch running?")
