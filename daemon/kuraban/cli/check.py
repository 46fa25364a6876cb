"""`kuraban check`: everything read, nothing touched, every fault at once."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated

import typer
from rich.console import Console

from kuraban.cli.common import Site, console, counted, house_of, say, say_json, table
from kuraban.core import rota
from kuraban.core.notify import reports
from kuraban.core.notify.rota_gaps import LOOK_AHEAD, Gap, gaps
from kuraban.core.site import House, Place
from kuraban.core.texts.translator import figure
from kuraban.core.units import DAY, HOUR, next_clock, show_time
from kuraban.queries.journal_state import clock
from kuraban.settings import Settings
from kuraban.settings.checks.broker_auth import admission
from kuraban.settings.checks.link_reachability import routes

FEW = 6
"""Dates that are written out one by one."""
TONIGHT = 2 * HOUR
"""The hour of the clock that stands for the night."""


def add_to(app: typer.Typer) -> None:
    app.command(epilog="Example: kuraban check --site site.toml")(check)


def check(
    as_json: Annotated[bool, typer.Option("--json", help="As JSON, for a script.")] = False,
    site: Site = None,
) -> None:
    """Read the site: every fault at once, or what will be watched.

    Courses and the environment are read too. Nothing is written, sent or connected to. Every fault
    is one line that names the file, the key and what would be right; then nothing else is said and
    the exit status is 2.
    """
    settings, _ = house_of(site, advised=True, secrets=True)
    house = settings.house
    if as_json:
        say_json(_document(settings))
        return
    say(f"{house.site.name}: {_counts(house)}. Nothing is wrong.")
    _warnings(settings)
    out = console()
    say("\nWhat will be judged")
    out.print(_judged(house))
    say("\nWho is told")
    out.print(_told(house, clock()))
    _unreached(settings, out)
    say("\nHow a call is answered")
    for route in routes(settings.web.public if settings.web else None, settings.mqtt.root):
        say(f"  {route}")
    for where in settings.receivers:
        say(f"\nThe long history goes to {where.url}, bucket {where.bucket}.")
    _gaps(house, clock())
    old = reports.old_ice_points(house, clock())
    if old:
        say(f"\nIce point older than a year: {', '.join(old)}")


def _document(settings: Settings) -> dict[str, object]:
    house, zone = settings.house, settings.house.zone
    return {
        "site": house.site.name,
        "worth_a_look": [*settings.warnings, *admission(settings.mqtt, "site file")],
        "unattended": [
            {
                "role": gap.role,
                "from": show_time(gap.start, zone),
                "until": show_time(gap.end, zone),
            }
            for gap in gaps(house, clock())
        ],
    }  # fmt: skip


def _counts(house: House) -> str:
    return ", ".join(
        (
            counted(len(house.places), "place"),
            counted(len(house.coolers), "cooler or heater", "coolers and heaters"),
            counted(len(house.probes), "probe"),
            counted(len(house.people), "person", "people"),
            counted(len(house.courses), "course"),
        )
    )


def _warnings(settings: Settings) -> None:
    words = [*settings.warnings, *admission(settings.mqtt, "site file")]
    if words:
        say("\nWorth a look")
    for warning in words:
        say(f"  {warning}")


def _judged(house: House) -> object:
    made = table("", "id", "judged", "measured by", "cooled, heated by")
    for place in house.places:
        served = [house.name_of(cooler) for cooler in (place.cooler, place.heater) if cooler]
        probes = ", ".join(probe.id for probe in house.probes_of(place.id)) or "no probe"
        made.add_row(place.name, place.id, _how(place), probes, ", ".join(served))
    return made


def _how(place: Place) -> str:
    brews = "while a batch runs" if place.brews else ""
    if place.band is None:
        return brews or "not: no band"
    low, high = (figure(edge) for edge in place.band)
    return f"{brews}; else {low} to {high} °C" if brews else f"always, {low} to {high} °C"


def _told(house: House, now: float) -> object:
    made = table("role", "now", "tonight at 02:00")
    tonight = next_clock(now, TONIGHT, house.zone)
    roles = dict.fromkeys(["brewer", "maintenance", "crew", *(duty.role for duty in house.rota)])
    for role in roles:
        made.add_row(role, _names(house, role, now), _names(house, role, tonight))
    return made


def _names(house: House, role: str, at: float) -> str:
    """Whom an alarm of a role rings, in order; those who only stand in are marked."""
    chain = rota.chain(house, role, at)
    named = [house.person[one.person].name for one in chain if one.person in house.person]
    if not named:
        return "nobody"
    stands_in = "" if rota.holders(house, role, at) else " (stand in)"
    return ", then ".join(named) + stands_in


def _unreached(settings: Settings, out: Console) -> None:
    silent = [
        person.name for person in settings.house.people if not settings.addresses[person.id].pages
    ]
    if silent:
        say(f"\nNo message can reach {', '.join(silent)}: no pages are given.")


def _gaps(house: House, now: float) -> None:
    """Hours of the coming weeks for which nobody is on the rota, those of one kind together."""
    found: dict[tuple[str, str, tuple[str, ...]], list[Gap]] = {}
    for gap in gaps(house, now):
        hours = f"{_clock(house, gap.start)} to {_clock(house, gap.end)}"
        if gap.end - gap.start > DAY:
            hours = f"{_when(house, gap.start)} to {_when(house, gap.end)}"
        found.setdefault((gap.role, hours, gap.instead), []).append(gap)
    if found:
        say(f"\nNobody on duty in the next {LOOK_AHEAD} days")
    for (role, hours, instead), alike in found.items():
        days = "" if hours[0].isalpha() else f" on {_days(house, alike)}"
        names = " and ".join(house.person[one].name for one in instead if one in house.person)
        say(f"  {role}, {hours}{days}; rings {names or 'nobody'} instead")


def _clock(house: House, at: float) -> str:
    return f"{datetime.fromtimestamp(at, house.zone):%H:%M}"


def _when(house: House, at: float) -> str:
    local = datetime.fromtimestamp(at, house.zone)
    return f"{local:%a} {local.day} {local:%b} {local:%H:%M}"


def _days(house: House, alike: list[Gap]) -> str:
    """The dates of some gaps, the first few of many."""
    days = [datetime.fromtimestamp(gap.start, house.zone) for gap in alike]
    shown = [f"{day:%a} {day.day} {day:%b}" for day in days]
    if len(shown) <= FEW:
        return ", ".join(shown)
    return f"{', '.join(shown[: FEW - 1])} and {len(shown) - FEW + 1} more, the last {shown[-1]}"
