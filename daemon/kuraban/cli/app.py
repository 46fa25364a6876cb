"""All commands under one name, and what becomes of an error."""

from __future__ import annotations

from importlib.metadata import version
from typing import Annotated, Any

import typer
from typer.core import TyperGroup

from kuraban.cli import (
    alarm_down,
    batch_export,
    check,
    courses,
    doctor,
    duty,
    feed,
    history,
    import_tables,
    init,
    journal,
    log,
    morning_report,
    page_test,
    password,
    probe,
    reckon,
    record,
    rehearse,
    replay,
    run,
    status,
    wall,
    why,
)  # fmt: skip
from kuraban.cli.typed_numbers import read_figures
from kuraban.edges.standard_error import told
from kuraban.errors import KurabanError


class Commands(TyperGroup):
    """The group of all commands: figures are read as people type them, and an error of ours
    becomes its lines and an exit status."""

    def __init__(self, **how: Any) -> None:
        super().__init__(**how)
        read_figures(self)

    def invoke(self, ctx: Any) -> Any:
        try:
            return super().invoke(ctx)
        except KurabanError as error:
            raise typer.Exit(told(error)) from None


EXAMPLES = """\b
Examples:
  kuraban demo --once
  kuraban init --out site.toml
  kuraban check
  kuraban status"""

app = typer.Typer(
    cls=Commands,
    no_args_is_help=True,
    rich_markup_mode=None,
    epilog=EXAMPLES,
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
        bool,
        typer.Option(
            "--version", callback=_version, is_eager=True, help="Show the version and exit."
        ),
    ] = False,
) -> None:
    """Night watch over the planned temperatures of a sake brewery."""


for group in (
    run,
    check,
    replay,
    rehearse,
    status,
    wall,
    why,
    doctor,
    history,
    batch_export,
    import_tables,
    morning_report,
    log,
    record,
    journal,
    page_test,
    probe,
    password,
    alarm_down,
    duty,
    feed,
    init,
    courses,
    reckon,
):
    group.add_to(app)


def main() -> None:
    """The entry point of the command `kuraban`."""
    app()
