"""What the commands share: the site option, and how lines and tables are shown."""

from __future__ import annotations

import difflib
import os
import sys
from collections.abc import Collection, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from datetime import tzinfo
from pathlib import Path
from typing import IO, Annotated, Any

import msgspec
import typer
from rich.console import Console, ConsoleOptions, RenderableType
from rich.segment import Segment
from rich.table import Table
from rich.text import Text

from kuraban.clock import Clock
from kuraban.core.intake.payload import nearest
from kuraban.core.intake.typed_figures import narrow
from kuraban.core.texts.sanitized_text import json_plain, plain
from kuraban.core.texts.translator import Words
from kuraban.core.timescale import A_MOMENT
from kuraban.core.units import show_time
from kuraban.errors import ConfigurationError, Fault
from kuraban.settings import Settings
from kuraban.settings.catalogues import load_words
from kuraban.settings.paths import journal_of, settings_at

Site = Annotated[
    Path | None,
    typer.Option(
        "--site",
        metavar="SITE.toml",
        help="The site file. Else $KURABAN_SITE_FILE, ./site.toml or /etc/kuraban/site.toml.",
        show_default=False,
    ),
]

AsJson = Annotated[bool, typer.Option("--json", help="As JSON, for a script.")]


def house_of(
    site: Path | None, now: float | None = None, *, advised: bool = False, secrets: bool = False
) -> tuple[Settings, Words]:
    """Settings and message catalogues; ConfigurationError with every fault.

    Calendars are written out from the week of `now` on, this week's if not given. `advised` also
    looks for what will be missed in the night, which takes a second. `secrets` is for commands that
    speak with the broker or a phone; no other one reads any.
    """
    now = Clock()() if now is None else now
    return settings_at(site, now=now, advised=advised, secrets=secrets), load_words()


def watched(site: Path | None, *, secrets: bool = False) -> tuple[Settings, Words]:
    """The same, the house by the wall clock as its journal knows it: for whoever asks of what the
    watch has seen. Its time for a moment of the wall clock is `moment_of(clock(), house.zone)`."""
    settings, words = house_of(site, secrets=secrets)
    from kuraban.queries.journal_state import clocked  # the whole engine, which few need

    house = clocked(settings.house, journal_of(settings))
    return replace(settings, house=house), words


def say(line: str = "") -> None:
    """A line of the answer; never wrapped, so that it can be searched."""
    typer.echo(plain(line))


def say_json(document: object) -> None:
    """The answer as JSON, in one line. What a terminal would obey is spelled, and so said."""
    typer.echo(json_plain(msgspec.json.encode(document).decode()))


def dated(told: Any, zone: tzinfo) -> Any:
    """Plain values for a script: each moment in RFC 3339 as the wall clock showed it."""
    if isinstance(told, float) and told > A_MOMENT:
        return show_time(told, zone)
    if isinstance(told, dict):
        return {name: dated(value, zone) for name, value in told.items()}
    return [dated(value, zone) for value in told] if isinstance(told, (list, tuple)) else told


def tell(line: str) -> None:
    """A line about how it went, beside the answer."""
    typer.echo(plain(line), err=True)


def wrong(where: str, key: str, what: str, right: str) -> ConfigurationError:
    """An error of whoever typed the command: what is wrong and what would be right."""
    return ConfigurationError([Fault(where, key, what, right)])


def _alike(told: str, known: str) -> float:
    return difflib.SequenceMatcher(None, known, told).ratio()


def suggestion(name: str, known: Mapping[str, str] | Collection[str]) -> str:
    """What was meant instead of a name that is none: the nearest by id or by name (ids with their
    names, or ids alone), else which there are. Of tank-1 to tank-6 none is nearest to tank-9."""
    names = known if isinstance(known, Mapping) else dict.fromkeys(known, "")
    spelled = {shown.casefold(): own for own, shown in names.items() if shown}
    spelled |= {own.casefold(): own for own in names}
    told = narrow(name)[:100].casefold()
    close = difflib.get_close_matches(told, spelled, n=2, cutoff=0.6)
    if close and len({_alike(told, one) for one in close}) == len(close):
        return f'did you mean "{spelled[close[0]]}"?'
    return f"there are {nearest(name, names)}" if names else "there is none yet"


def on_terminal() -> bool:
    """Whether somebody sits there to be asked."""
    return sys.stdin.isatty() and sys.stdout.isatty()


class PlainConsole(Console):
    """Text is text: no markup in what people wrote, and no order to the terminal."""

    def __init__(self, *, stderr: bool = False) -> None:
        super().__init__(stderr=stderr, highlight=False, markup=False, emoji=False)

    def render_str(self, text: str, **manner: Any) -> Text:
        return super().render_str(plain(text), **manner)

    def render(
        self, renderable: RenderableType, options: ConsoleOptions | None = None
    ) -> Iterator[Segment]:
        for segment in super().render(renderable, options):  # a Text, an edge, a padding
            yield segment if segment.control else segment._replace(text=plain(segment.text))


def console(*, stderr: bool = False) -> Console:
    """Standard output as rich writes it: NO_COLOR and the window's width are kept to."""
    return PlainConsole(stderr=stderr)


def table(*columns: str, right: Iterable[str] = ()) -> Table:
    """A table without lines; `right` names the columns of figures."""
    made = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="dim")
    figures = set(right)
    for column in columns:
        made.add_column(column, justify="right" if column in figures else "left", overflow="fold")
    return made


def counted(number: int, one: str, many: str | None = None) -> str:
    """`1 place`, `3 places`, `12,345 readings`."""
    return f"{number:,} {one if number == 1 else many or one + 's'}"


def lasting(seconds: float) -> str:
    """A length of time to be read at a glance: `40 s`, `12 min`, `3 h`, `5 days`."""
    seconds = max(seconds, 0.0)
    if seconds < 90:
        return f"{seconds:.0f} s"
    if seconds < 90 * 60:
        return f"{seconds / 60:.0f} min"
    return f"{seconds / 3600:.0f} h" if seconds < 48 * 3600 else f"{seconds / 86400:.0f} days"


@contextmanager
def new_file(path: Path, mode: int = 0o666) -> Iterator[IO[str]]:
    """A file that was not there before, with at most these rights from its first moment on;
    ConfigurationError where it is, or cannot be written."""
    try:
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode)
    except FileExistsError:
        right = "nothing is overwritten: choose another name"
        raise wrong(str(path), "--out", "is there already", right) from None
    except OSError as error:
        right = "name a file in a folder that is there"
        raise wrong(str(path), "--out", f"cannot be written ({error.strerror})", right) from None
    with os.fdopen(handle, "w", encoding="utf-8") as file:
        yield file
