"""`kuraban journal`: whether it is whole, a second copy of it, and the way back."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime, tzinfo
from pathlib import Path
from typing import Annotated

import typer
from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn, TimeElapsedColumn

from kuraban.cli.common import Site, console, counted, house_of, say, wrong
from kuraban.core.units import show_time
from kuraban.queries.journal_state import clock, clocked
from kuraban.runtime.checkpoint.contents import Contents, Unreadable, contents
from kuraban.settings.paths import journal_of
from kuraban.store.archive import archive_of
from kuraban.store.forwarded import Forwarded
from kuraban.store.upkeep.backup import STAMP, as_before, back_up, restore, thin
from kuraban.store.upkeep.integrity import Passed, Sound, inspect

FOUND = 1
EXAMPLES = """\b
Examples:
  kuraban journal verify
  kuraban journal backup copy.journal
  kuraban journal backup . --keep 14
  kuraban journal restore copy.journal"""
PATTERN, PAST = "kuraban-[0-9]*.journal", ".past"
SHOWN, WIDEST = 20, 120
"""Reasons, and letters of a point, that are shown."""


def add_to(app: typer.Typer) -> None:
    group = typer.Typer(
        name="journal",
        no_args_is_help=True,
        epilog=EXAMPLES,
        help="The watch's own journal (not systemd's): look through, back up, restore.",
    )
    group.command(epilog="Example: kuraban journal verify")(verify)
    group.command(epilog="Example: kuraban journal backup copy.journal")(backup)
    group.command(name="restore", epilog="Example: kuraban journal restore copy.journal")(
        bring_back
    )
    group.command(epilog="Example: kuraban journal aside --again")(aside)
    app.add_typer(group)


def verify(
    file: Annotated[
        Path | None,
        typer.Argument(
            metavar="FILE", help="A backup, instead of the site's journal.", show_default=False
        ),
    ] = None,
    site: Site = None,
) -> None:
    """Look through the journal, or a backup, for damage and for rows that were altered.

    The chain over entries and alarm steps shows a row that was altered or removed behind the
    watch's back; every fact is read as the watch would, and the checkpoint whether it can be taken
    up and what stands in it. Nothing is written or run; the watch may run.
    Exit status: 0 sound, 1 something was found.
    """
    settings, _ = house_of(site)
    path = file or journal_of(settings)
    zone = clocked(settings.house, path).zone
    with _progress() as passed:
        sound = inspect(path, zone, passed)
    kept = None if sound.faults else contents(path)
    altered = isinstance(kept, Unreadable) and kept.ours
    for fault in sound.faults:
        say(str(fault))
    if altered:
        say(f"{path}: {_kept(kept, zone)}")
    if sound.faults or altered:
        raise typer.Exit(FOUND)
    say(f"{path}: sound. {_held(sound, zone)}")
    if kept is not None:
        say(_kept(kept, zone))
    if sound.head:
        say(f"Its last link is {sound.head}; note it elsewhere to know this journal again.")


def backup(
    to: Annotated[
        Path,
        typer.Argument(
            metavar="FILE", help="A new file, or a folder in which it is named by the time."
        ),
    ],
    keep: Annotated[
        int | None,
        typer.Option(
            help="In a folder: keep so many of the newest backups.", min=1, show_default=False
        ),
    ] = None,
    site: Site = None,
) -> None:
    """Copy the journal while the watch runs, and look through the copy.

    What was imported from before the watch goes along, in FILE.past. The watch is not held up.
    Nothing is overwritten. With --keep older backups in the folder are removed once the new one
    was found sound.
    """
    settings, _ = house_of(site)
    zone = clocked(settings.house, journal_of(settings)).zone
    if keep is not None and not to.is_dir():
        raise wrong("command line", "--keep", f"{to} is no folder", "name a folder that is there")
    journal, nightly = journal_of(settings), to.is_dir()
    name = f"kuraban-{datetime.fromtimestamp(clock(), settings.house.zone):{STAMP}}.journal"
    path = to / name if nightly else to
    _copy(journal, path, zone)
    if (past := archive_of(journal)).exists():
        known = as_before(past, past_of(path), PATTERN + PAST) if nightly else None
        if known is None:
            _copy(past, past_of(path), zone)
        else:
            say(f"{past_of(path)}: the same as {known.name}")
    for pattern in (PATTERN, PATTERN + PAST) if keep is not None else ():
        for old in thin(to, pattern, keep or 0):
            say(f"{old}: removed")


def past_of(backup: Path) -> Path:
    """Where the past from before the watch lies beside a backup."""
    return backup.with_name(backup.name + PAST)


def _copy(journal: Path, to: Path, zone: tzinfo) -> None:
    with _progress() as passed:
        sound = back_up(journal, to, zone, passed)
    say(f"{to}: sound. {_held(sound, zone)}")


def bring_back(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The backup.")],
    site: Site = None,
) -> None:
    """Put a backup in the journal's place; the old journal stays beside it under a dated name.

    FILE.past, where it is there, takes the place of what was imported.
    Stop the watch first. What was told after the backup was made is not in it: log every batch,
    stage and aim since then anew. Nothing in the backup is run. What stood when it was made
    (shelves, who had which alarm) is not believed but built anew from the entries and readings.
    """
    settings, _ = house_of(site)
    zone, path = settings.house.zone, journal_of(settings)
    with _progress() as passed:
        sound, aside = restore(file, path, clock(), zone, passed)
    say(f"{path}: restored. {_held(sound, clocked(settings.house, path).zone)}")
    say("The watch works out again what stands; set quiet anew what is to stay quiet.")
    if aside is not None:
        say(f"The journal that was there is kept as {aside}.")
    if past_of(file).exists():
        past = archive_of(path)
        with _progress() as passed:
            sound, aside = restore(past_of(file), past, clock(), zone, passed)
        say(f"{past}: restored. {_held(sound, zone)}")
        if aside is not None:
            say(f"What was there is kept as {aside}.")


def aside(
    again: Annotated[
        bool,
        typer.Option(
            "--again", help="Give the points back: the watch sends each once more, within seconds."
        ),
    ] = False,
    site: Site = None,
) -> None:
    """What the engine of the long history refused: how many points, why, and the first of each.

    Such a point lies in the journal with the reason and delays nothing. Once the cause is mended
    (the bucket's retention, a field's kind), --again has it sent once more; a point that is refused
    again is set aside again. The watch may run; with --again be the user that it runs as.
    """
    settings, _ = house_of(site)
    to = settings.history
    if to is None:
        raise wrong(
            "site file", "history", "no engine is named", "write url and bucket in [history]"
        )
    forwarded = Forwarded(journal_of(settings), to.name, "rw" if again else "ro")
    try:
        refused = forwarded.refused()
        given = forwarded.give_back() if again else 0
    finally:
        forwarded.close()
    for one in refused[:SHOWN]:
        say(f"{one.count} × {one.reason}")
        say(f"    {_shorter(one.first)}" if one.first else "    never sent, and stays here")
    if len(refused) > SHOWN:
        say(f"and {counted(sum(one.count for one in refused[SHOWN:]), 'point')} for other reasons")
    if not refused:
        say(f"Nothing of {to.name} is set aside.")
    elif again:
        say(f"{counted(given, 'point')} given back; `kuraban status` tells what became of them.")


def _shorter(line: str) -> str:
    return line if len(line) <= WIDEST else f"{line[: WIDEST - 1]}…"


def _held(sound: Sound, zone: tzinfo) -> str:
    held = ", ".join(
        (
            counted(sound.entries, "entry", "entries"),
            counted(sound.steps, "alarm step"),
            counted(sound.readings, "reading"),
        )
    )
    if sound.first is None or sound.last is None:
        return f"{held}."
    span = (show_time(round(at), zone) for at in (sound.first, sound.last))
    return f"{held}, from {' to '.join(span)}."


def _kept(kept: Contents | Unreadable | None, zone: tzinfo) -> str:
    """A line about the checkpoint."""
    if kept is None:
        return "It has no checkpoint."
    if isinstance(kept, Unreadable):
        whose = "is damaged or was altered" if kept.ours else "is of another version's form"
        return (
            f"Its checkpoint {whose} ({kept.why}); the next start passes it over and builds the"
            " watch anew from the facts."
        )
    stands = ", ".join(
        (
            f"{counted(kept.listed, 'alarm')} on the list"
            f" ({kept.in_hand} in hand, {kept.shelved} shelved)",
            f"{counted(kept.pending, 'entry waits', 'entries wait')} for a second person",
            counted(kept.deadlines, "deadline"),
        )
    )
    rest = "The rest is this version's" if kept.fits else "The rest is another version's"
    then = "and is taken up too" if kept.fits else "and is built anew from the facts"
    when = show_time(round(kept.at), zone)
    return f"Its checkpoint of {when} holds {stands}. {rest} ({kept.size:,} bytes) {then}."


@contextmanager
def _progress() -> Iterator[Passed]:
    """A bar on a terminal."""
    if not sys.stderr.isatty():
        yield lambda what, share: None
        return
    columns = (
        TextColumn("{task.description}"), BarColumn(), TaskProgressColumn(), TimeElapsedColumn(),
    )  # fmt: skip
    with Progress(*columns, console=console(stderr=True), transient=True) as progress:
        task = progress.add_task("", total=None)

        def passed(what: str, share: float | None) -> None:
            total = None if share is None else 1.0
            progress.update(task, description=what, total=total, completed=share or 0.0)

        yield passed
