"""`kuraban replay`: recordings through the very same core, with their own clock."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime, tzinfo
from pathlib import Path
from typing import IO, Annotated, Protocol

import typer
from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn, TimeElapsedColumn

from kuraban.cli.common import Site, console, counted, house_of, say, tell, wrong
from kuraban.cli.moments import moment
from kuraban.core.effects import Message, Step
from kuraban.core.site import House
from kuraban.recording import merged, size_of
from kuraban.replay import Outcome, TimelineWriter, replay

STDOUT = Path("-")


class Writer(Protocol):
    """Whatever writes the lines, times in `zone`."""

    zone: tzinfo

    def __call__(self, event: Step | Message) -> None: ...


def add_to(app: typer.Typer) -> None:
    app.command(
        name="replay",
        epilog="Example: kuraban replay --site site.toml night.jsonl.gz --timeline -",
    )(play)


def play(
    recordings: Annotated[
        list[Path],
        typer.Argument(metavar="RECORDING", help="JSON Lines, also packed (.gz); merged by time."),
    ],
    site: Site = None,
    timeline: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE",
            help="Write the timeline there as JSON Lines; - is standard output. Without it, one "
            "readable line a step is shown.",
            show_default=False,
        ),
    ] = None,
    until: Annotated[
        str | None,
        typer.Option(
            metavar="TIME",
            help='Run the clock on, or stop, at this time: "2026-02-11T06:00+09:00" or, by the '
            'brewery\'s clock, "2026-02-11 06:00".',
            show_default=False,
        ),
    ] = None,
) -> None:
    """Tell what the watch would have told of recorded days.

    The same recordings give the same lines. A line of a recording that is no message is reported
    and passed over.
    """
    settings, words = house_of(site, _begins(recordings))
    house = settings.house
    stop = None if until is None else moment(until, "--until", house.zone)
    with _writer(timeline, house) as writer, _progress(recordings, timeline) as passed:

        def stepped(zone: tzinfo) -> None:
            writer.zone = zone

        outcome = replay(
            house, settings.mqtt.root, words, recordings,
            until=stop, passed=passed, write=writer, stepped=stepped,
        )  # fmt: skip
    _report(outcome)


def _begins(recordings: list[Path]) -> float | None:
    """When the recordings begin, so that a calendar says the same whenever they are replayed."""
    first = next(merged(recordings, lambda bad: None, lambda size: None), None)
    return None if first is None else first.at


@contextmanager
def _writer(timeline: Path | None, house: House) -> Iterator[Writer]:
    """Where the lines go. ConfigurationError where the file cannot be written."""
    if timeline is None:
        yield _Lines(house)
    elif timeline == STDOUT:
        yield TimelineWriter(house, sys.stdout.buffer)
        sys.stdout.buffer.flush()
    else:
        with _opened(timeline) as file:
            yield TimelineWriter(house, file)


def _opened(path: Path) -> IO[bytes]:
    try:
        return path.open("wb")
    except OSError as error:
        what = f"cannot be written ({error.strerror})"
        raise wrong(
            str(path), "--timeline", what, "name a file in a folder that is there"
        ) from None


@contextmanager
def _progress(recordings: list[Path], timeline: Path | None) -> Iterator[Callable[[int], None]]:
    """A bar on a terminal, unless the lines themselves are shown there."""
    shown = (timeline is None or timeline == STDOUT) and sys.stdout.isatty()
    if shown or not sys.stderr.isatty():
        yield lambda count: None
        return
    columns = (TextColumn("replaying"), BarColumn(), TaskProgressColumn(), TimeElapsedColumn())
    with Progress(*columns, console=console(stderr=True), transient=True) as progress:
        total = None if any(path.suffix == ".gz" for path in recordings) else _size(recordings)
        task = progress.add_task("", total=total)
        yield lambda count: progress.advance(task, count)


def _size(recordings: list[Path]) -> int:
    return size_of([path for path in recordings if path.is_file()])


class _Lines:
    """One readable line a step, a heading for each day."""

    def __init__(self, house: House) -> None:
        self.house = house
        self.zone = house.zone
        self.day = ""

    def __call__(self, event: Step | Message) -> None:
        local = datetime.fromtimestamp(event.at, self.zone)
        day = f"{local:%A} {local.day} {local:%B %Y}"
        if day != self.day:
            say(day if not self.day else f"\n{day}")
            self.day = day
        say(f"{local:%H:%M:%S}  {self._said(event)}")

    def _said(self, event: Step | Message) -> str:
        if isinstance(event, Step):
            by = f" (by {self.house.called(event.by)})" if event.by else ""
            return f"  {event.text}{by}"
        known = self.house.person.get(event.person)
        name = event.person if known is None else known.name
        mark = "☎" if event.step == "page" else "✉"
        return f"{mark} {name}: {event.title}"


def _report(outcome: Outcome) -> None:
    parts = [
        counted(outcome.messages, "message"),
        counted(outcome.readings, "reading"),
        f"{outcome.refused:,} refused",
        counted(outcome.bad_count, "bad line"),
    ]
    tell(", ".join(parts))
    for line in outcome.bad:
        tell(f"{line.where}: {line.reason}; passed over")
    if outcome.bad_count > len(outcome.bad):
        tell(f"and {counted(outcome.bad_count - len(outcome.bad), 'more bad line')}")
