"""All commands under one name, and what becomes of an error."""

from __future__ import annotations

from importlib.metadata import version
from typing import Annotated, Any

import typer
from typer.core import TyperGroup

from kuraban.cli import (
    alarm_down,
    check,
    courses,
    duty,
    history,
    init,
    log,
    page_test,
    password,
    reckon,
    record,
    rehearse,
    replay,
    report,
    run,
    status,
)  # fmt: skip
from kuraban.errors import JournalError, KurabanError, MachineError, OurError

FAULT, BROKEN, NO_JOURNAL = 2, 1, 3


class Commands(TyperGroup):
    """The group of all commands: an error of ours becomes its lines and an exit status."""

    def invoke(self, ctx: Any) -> Any:
        try:
            return super().invoke(ctx)
        except KurabanError as error:
            for line in str(error).splitlines():
                typer.echo(line, err=True)
            if isinstance(error, OurError):
                typer.echo("This is a fault of kuraban itself; please report it.", err=True)
            raise typer.Exit(status_of(error)) from None


def status_of(error: KurabanError) -> int:
    """The exit status that an error comes to."""
    if isinstance(error, JournalError):
        return NO_JOURNAL
    return BROKEN if isinstance(error, (MachineError, OurError)) else FAULT


app = typer.Typer(
    cls=Commands,
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)


def _version(asked: bool) -> None:
    if asked:
        typer.echo(f"kuraban {version('kuraban')}")
        raise typer.Exit


@app.callback()
def everything(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Say which one.")
    ] = False,
) -> None:
    """Night watch over the planned temperatures of a sake brewery."""


for group in (
    run,
    check,
    replay,
    rehearse,
    status,
    history,
    report,
    log,
    record,
    page_test,
    password,
    alarm_down,
    duty,
    init,
    courses,
    reckon,
):
    group.add_to(app)


def main() -> None:
    """The entry point of the command `kuraban`."""
    app()
