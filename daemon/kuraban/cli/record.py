"""`kuraban record`: what the broker says, or what the watch knew, as a recording to replay."""

from __future__ import annotations

import signal
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import IO, Annotated

import typer

from kuraban.cli.common import Site, counted, house_of, new_file, tell, watched, wrong
from kuraban.cli.moments import length, moment
from kuraban.core.intake.wire import Wire
from kuraban.core.texts.translator import Speech, Words
from kuraban.core.timescale import moment_of
from kuraban.queries.journal_state import clock, open_history
from kuraban.queries.journal_to_recording import Line, line_text, retell
from kuraban.queries.summary_notice import not_retold
from kuraban.settings import Settings
from kuraban.settings.paths import journal_of

EXAMPLES = """\b
Examples:
  kuraban record --out night.jsonl --for 12h
  kuraban record --from-journal --since "2026-02-10 18:00" --out night.jsonl"""


def add_to(app: typer.Typer) -> None:
    app.command(name="record", epilog=EXAMPLES)(record)


def record(
    out: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE",
            help="A new file to write to, else standard output. Nothing is overwritten.",
            show_default=False,
        ),
    ] = None,
    lasts: Annotated[
        str | None,
        typer.Option(
            "--for", metavar="TIME", help='End after so long, such as "2h".', show_default=False
        ),
    ] = None,
    from_journal: Annotated[
        bool, typer.Option("--from-journal", help="What the watch knew, instead of the broker.")
    ] = False,
    since: Annotated[
        str | None,
        typer.Option(metavar="TIME", help="With --from-journal: from then on.", show_default=False),
    ] = None,
    until: Annotated[
        str | None,
        typer.Option(metavar="TIME", help="With --from-journal: up to then.", show_default=False),
    ] = None,
    site: Site = None,
) -> None:
    """Write down every message, for `kuraban replay`.

    One JSON line each. From the broker until Ctrl-C or the time given by --for, each line on the
    disk at once. With --from-journal everything that the watch knew: readings, entries, and changes
    of the site.
    """
    settings, words = watched(site) if from_journal else house_of(site, secrets=True)
    if from_journal:
        if lasts is not None:
            right = "leave --for out, or --from-journal"
            raise wrong("command line", "--for", "the journal is there already", right)
        _from_journal(settings, words, out, since, until)
        return
    if since is not None or until is not None:
        right = "add --from-journal, or leave it out"
        raise wrong("command line", "--since", "the broker knows no past", right)
    _from_broker(settings, out, None if lasts is None else length(lasts, "--for"))


def _from_broker(settings: Settings, out: Path | None, lasts: float | None) -> None:
    from kuraban.edges.mqtt.oneshot import listen

    topics = Wire(settings.house, settings.mqtt.root).subscriptions()
    zone = settings.house.zone
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, signal.default_int_handler)
    with _writing(out) as pen:

        def take(topic: str, payload: bytes, kept: bool) -> None:
            text = payload.decode("utf-8", "replace")
            pen.write(line_text(Line(clock(), topic, text, kept), zone))

        with suppress(KeyboardInterrupt):
            listen(settings.mqtt, topics, take, lasts=lasts, told=tell)
        tell(f"{counted(pen.count, 'message')} recorded")


def _from_journal(
    settings: Settings, words: Words, out: Path | None, since: str | None, until: str | None
) -> None:
    zone = settings.house.zone
    now = moment_of(clock(), zone)
    start = None if since is None else moment(since, "--since", zone, now)
    end = None if until is None else moment(until, "--until", zone, now)
    history = open_history(journal_of(settings))
    try:
        with _writing(out) as pen:
            for line in retell(history, settings.mqtt.root, start, end):
                pen.write(line_text(line, settings.house.site.zone), at_once=False)
            tell(f"{counted(pen.count, 'message')} written")
        lacks = not_retold(history, start, Speech(words, settings.house.site.language, zone, now))
        if lacks is not None:
            tell(lacks)
    finally:
        history.close()


class _Pen:
    def __init__(self, file: IO[str]) -> None:
        self.file = file
        self.count = 0

    def write(self, line: str, *, at_once: bool = True) -> None:
        self.file.write(f"{line}\n")
        self.count += 1
        if at_once:
            self.file.flush()


@contextmanager
def _writing(out: Path | None) -> Iterator[_Pen]:
    if out is None:
        yield _Pen(sys.stdout)
        sys.stdout.flush()
        return
    with new_file(out) as file:
        yield _Pen(file)
