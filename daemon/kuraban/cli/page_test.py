"""`kuraban page-test`: does a message reach the phone?"""

from __future__ import annotations

from typing import Annotated

import typer

from kuraban.cli.common import Site, house_of, say, suggestion, wrong
from kuraban.cli.completion import people
from kuraban.core.site import House, Person
from kuraban.queries.journal_state import clock
from kuraban.queries.setup.unknown_probes import send_test
from kuraban.settings import Settings

FAILED = 1


def add_to(app: typer.Typer) -> None:
    app.command(name="page-test", epilog="Example: kuraban page-test aki")(page_test)


def page_test(
    person: Annotated[
        str | None,
        typer.Argument(
            metavar="PERSON", help="Id of the person.", autocompletion=people, show_default=False
        ),
    ] = None,
    everyone: Annotated[bool, typer.Option("--all", help="Everyone in the site file.")] = False,
    site: Site = None,
) -> None:
    """Send a real message to a person's phone.

    It says which of the addresses took it. It goes the way a page goes at night. Addresses are told
    by their number in the site file, pages first, and never shown. The exit status is 1 where one
    did not take it.
    """
    settings, _ = house_of(site, secrets=True)
    taken = [_test(settings, one) for one in _whom(settings.house, person, everyone)]
    if not all(taken):
        raise typer.Exit(FAILED)


def _whom(house: House, person: str | None, everyone: bool) -> list[Person]:
    if everyone == (person is not None):
        right = "name one person, or write --all"
        raise wrong("command line", "PERSON", "whom to send it to is not clear", right)
    if person is None:
        return list(house.people)
    if person not in house.person:
        right = suggestion(person, {one.id: one.name for one in house.people})
        raise wrong("command line", "PERSON", f'there is no person "{person}"', right)
    return [house.person[person]]


def _test(settings: Settings, person: Person) -> bool:
    """Whether every address of the person took the message."""
    tried = send_test(settings, person, clock())
    if not tried:
        say(f"{person.name}: no address is given, nothing can reach them")
    for one in tried:
        rings = "rings" if one.rings else "notices only"
        say(f"{person.name}, address {one.number} ({rings}): {one.reason or 'taken'}")
    return bool(tried) and not any(one.reason for one in tried)
