"""`kuraban doctor`: everything around the watch, a line each, and what to do."""

from __future__ import annotations

from typing import Annotated

import typer

from kuraban.cli.common import Site, house_of, say, say_json
from kuraban.queries.surroundings import Finding, surroundings
from kuraban.settings.checks.broker_auth import admission

FAULTY = 1
MARKS = {"well": " ", "look": "◆", "fault": "◼"}


def add_to(app: typer.Typer) -> None:
    app.command(epilog="Example: kuraban doctor")(doctor)


def doctor(
    as_json: Annotated[bool, typer.Option("--json", help="As JSON, for a script.")] = False,
    site: Site = None,
) -> None:
    """Look at everything around the watch, and say what to do.

    Broker, clock, disk, memory card, phones, certificates, pages, long history, units: a line
    each. ◼ is to be put right, ◆ worth a look. Nothing is written and nobody is rung. The exit
    status is 1 where something is to be put right.
    """
    settings, _ = house_of(site, advised=True, secrets=True)
    worth = (*settings.warnings, *admission(settings.mqtt, "site file"))
    found = [Finding("site file", "look", str(word)) for word in worth]
    if not found:
        found = [Finding("site file", "well", "nothing is wrong")]
    found += surroundings(settings)
    if as_json:
        say_json([one._asdict() for one in found])
    else:
        for one in found:
            say(f"{MARKS[one.grade]} {one.what}: {'; '.join(filter(None, (one.says, one.do)))}")
    if any(one.grade == "fault" for one in found):
        raise typer.Exit(FAULTY)
