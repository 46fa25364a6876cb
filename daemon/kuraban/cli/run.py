"""`kuraban run` and `kuraban demo`: the watch in earnest, and a night to look at."""

from __future__ import annotations

from typing import Annotated

import typer

from kuraban.cli.common import Site
from kuraban.clock import Clock
from kuraban.settings.handover import become
from kuraban.settings.paths import settings_at


def add_to(app: typer.Typer) -> None:
    app.command(epilog="Example: kuraban run --site /etc/kuraban/site.toml")(run)
    app.command(epilog="Example: kuraban demo --once")(demo)


def run(site: Site = None) -> None:
    """Keep watch until asked to stop.

    Readings and entries come in from the broker, are written to the journal and judged, and pages
    go out to phones. Ctrl-C or SIGTERM ends it cleanly; a restart takes over a changed site file.
    What the site file lacks without being wrong is said by `kuraban check`.
    """
    settings = settings_at(site, now=Clock()())
    become("kuraban.runtime.watch_main", settings)
    from kuraban.runtime.watch_main import watch  # where it cannot become another program

    watch(settings)


def demo(
    once: Annotated[
        bool, typer.Option("--once", help="End by itself when the night is over.")
    ] = False,
    speed: Annotated[
        float | None,
        typer.Option(
            metavar="TIMES", help="How many times faster than life.", min=1.0, show_default=False
        ),
    ] = None,
    night: Annotated[
        str, typer.Option(metavar="NAME", help="cellar, or koji: the koji room's heater dies.")
    ] = "cellar",
    lan: Annotated[
        bool, typer.Option("--lan", help="Show the pages to phones in this network too.")
    ] = False,
) -> None:
    """Play an invented night; show the phones and the pages.

    It comes through a small broker of its own. Nothing needs to be set up, and nothing of yours is
    touched. The pages are served on this machine alone, and their link is printed: open it, and
    answer as its people would.
    """
    from kuraban import demo as play

    raise typer.Exit(play.run(once=once, speed=speed, night=night, lan=lan))
