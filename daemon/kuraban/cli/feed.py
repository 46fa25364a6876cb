"""`kuraban feed`: reads buses and publishes their values; `feed look` shows what hangs on them."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated

import typer

from kuraban.cli.common import say, wrong
from kuraban.settings.feed_settings import FeedSettings

HERE, INSTALLED = Path("feed.toml"), Path("/etc/kuraban/feed.toml")
EXAMPLES = """\b
Examples:
  kuraban feed look
  kuraban feed look --line chillers --units 1-5
  kuraban feed look --line chillers --units 3 --registers 0-19 --kind input"""

File = Annotated[
    Path | None,
    typer.Option(
        "--config",
        metavar="FEED.toml",
        help="The feed's file. Else ./feed.toml or /etc/kuraban/feed.toml.",
        show_default=False,
    ),
]


def add_to(app: typer.Typer) -> None:
    group = typer.Typer(
        help="Read buses (1-wire, Modbus, a command) and send their values to the broker.",
        invoke_without_command=True,
        epilog="Example: kuraban feed --config /etc/kuraban/feed.toml",
    )
    group.callback()(feed)
    group.command(epilog=EXAMPLES)(look)
    app.add_typer(group, name="feed")


def feed(context: typer.Context, config: File = None) -> None:
    """Read buses (1-wire, Modbus, a command) and send their values to the broker.

    Until Ctrl-C or SIGTERM. What the broker does not take is kept on the disk and sent, in order,
    when it is back. It needs no site file and no watch on this machine.
    """
    if context.invoked_subcommand is not None:
        return
    from kuraban.feed.main import become

    become(_settings(config))


def look(
    config: File = None,
    line: Annotated[
        str | None,
        typer.Option(metavar="NAME", help="One [[line]] of the file.", show_default=False),
    ] = None,
    units: Annotated[str, typer.Option(metavar="FROM-TO", help="Units to ask.")] = "1-16",
    registers: Annotated[
        str | None,
        typer.Option(
            metavar="FROM-TO", help="Show these of one unit, in every order.", show_default=False
        ),
    ] = None,
    kind: Annotated[
        str, typer.Option(metavar="KIND", help="holding, input, coil or contact.")
    ] = "holding",
) -> None:
    """Show what hangs on each bus, so that it can be given a name.

    1-wire probes with their values; Modbus units that answer; with --registers what one unit holds,
    in all four orders of the bytes. Stop the feed first: a serial line has one master.
    """
    from kuraban.feed.look import KINDS

    if kind not in KINDS:
        raise wrong("command line", "--kind", f'"{kind}" is none', f"one of {', '.join(KINDS)}")
    asked = _range("--units", units, 255)
    shown = None if registers is None else _range("--registers", registers, 65535)
    for said in _seen(_settings(config, secrets=False), line, asked, shown, kind):
        say(said)


def _seen(
    settings: FeedSettings, wanted: str | None, units: range, shown: range | None, kind: str
) -> Iterator[str]:
    from kuraban.edges.modbus import Master
    from kuraban.feed import look as looking

    lines = [one for one in settings.lines if wanted in (None, one.id)]
    if wanted is not None and not lines:
        known = ", ".join(one.id for one in settings.lines) or "none"
        raise wrong("command line", "--line", f'there is no line "{wanted}"', f"there is {known}")
    if wanted is None:
        names = {wire.rom: wire.id for wire in settings.wires}
        yield f"1-wire, {settings.one_wire}:"
        yield from looking.on_one_wire(settings.one_wire, names)
    for line in lines:
        master = Master(line)
        yield f"line {line.id}, {master.place}:"
        if shown is None:
            yield from looking.answering(master, units)
        else:
            chosen = next(one for one in looking.KINDS if one == kind)
            yield from looking.registers(master, units[0], chosen, shown)
        master.close()


def _range(option: str, text: str, most: int) -> range:
    found = re.fullmatch(r"(\d{1,5})(?:-(\d{1,5}))?", text)
    first, last = (int(found[1]), int(found[2] or found[1])) if found else (1, 0)
    if not first <= last <= most:
        right = f"write one such as 3, or a span such as 1-16, at most {most}"
        raise wrong("command line", option, f'"{text}" is none', right)
    return range(first, last + 1)


def _settings(config: Path | None, *, secrets: bool = True) -> FeedSettings:
    from kuraban.settings.files.feed_file import read_feed

    path = config or next((one for one in (HERE, INSTALLED) if one.is_file()), None)
    if path is None:
        right = "name it with --config; an example is deploy/feed/feed.toml"
        none = f"there is none at {HERE.absolute()} nor at {INSTALLED}"
        raise wrong("feed", "the file", none, right)
    return read_feed(path, secrets=secrets)
