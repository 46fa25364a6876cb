"""`kuraban run` and `kuraban demo`: the watch in earnest, and a night to look at."""

from __future__ import annotations

import logging
import signal
from typing import Annotated

import typer

from kuraban.cli.common import Site, house_of
from kuraban.settings.supervision import supervision

PRIORITY = {logging.ERROR: 3, logging.WARNING: 4, logging.INFO: 6}
"""The numbers by which systemd's journal knows how grave a line is (sd-daemon(3))."""


def add_to(app: typer.Typer) -> None:
    app.command(epilog="Example: kuraban run --site /etc/kuraban/site.toml")(run)
    app.command(epilog="Example: kuraban demo --once")(demo)


def run(site: Site = None) -> None:
    """Keep watch until asked to stop.

    Readings and entries come in from the broker, are written to the journal and judged, and pages
    go out to phones. Ctrl-C or SIGTERM ends it cleanly; a restart takes over a changed site file.
    What the site file lacks without being wrong is said by `kuraban check`.
    """
    settings, words = house_of(site, advised=False)
    asked = supervision()
    log_lines(supervised=asked.socket is not None)
    from kuraban.edges.supervisor import Supervisor
    from kuraban.service import Watch

    watch = Watch(settings, words, supervisor=Supervisor(*asked))
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: watch.stop())
    watch.run()


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
) -> None:
    """Play an invented night and show the phones.

    It comes through a small broker of its own. Nothing needs to be set up, and nothing of yours is
    touched.
    """
    from kuraban import demo as play

    raise typer.Exit(play.run(once=once, speed=speed))


class _Graded(logging.Formatter):
    """Each line with the number that systemd's journal reads off it."""

    def format(self, record: logging.LogRecord) -> str:
        grade = PRIORITY.get(record.levelno, 6)
        return "\n".join(f"<{grade}>{line}" for line in super().format(record).splitlines())


def log_lines(*, supervised: bool) -> None:
    """The watch's own words to standard error, with the time where nobody else adds it."""
    handler = logging.StreamHandler()
    plain = logging.Formatter("%(asctime)s %(message)s", "%H:%M:%S")
    handler.setFormatter(_Graded("%(message)s") if supervised else plain)
    log = logging.getLogger("kuraban")
    log.handlers = [handler]
    log.setLevel(logging.INFO)
    log.propagate = False
