"""All commands under one name, and what becomes of an error.

Only the module of the command that is asked for is read: `kuraban run` is to watch within a second.
"""

from __future__ import annotations

import sys
from importlib import import_module
from typing import Annotated, Any, Final

import typer
from typer.core import TyperGroup

from kuraban.cli.typed_numbers import read_figures
from kuraban.edges.standard_error import told
from kuraban.errors import KurabanError

MODULES: Final = {
    "run": "run", "demo": "run", "check": "check", "replay": "replay", "rehearse": "rehearse",
    "status": "status", "wall": "wall", "why": "why", "doctor": "doctor", "history": "history",
    "import": "import_tables", "log": "log", "record": "record", "page-test": "page_test",
    "probe": "probe", "password": "password", "alarm-down": "alarm_down", "init": "init",
    "batch": "batch_export", "report": "morning_report", "journal": "journal", "duty": "duty",
    "feed": "feed", "courses": "courses", "reckon": "reckon",
}  # fmt: skip
"""Where each command is."""


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


def _version(asked: bool) -> None:
    if asked:
        from importlib.metadata import version

        typer.echo(f"kuraban {version('kuraban')}")
        raise typer.Exit


def everything(
    version: Annotated[
        bool,
        typer.Option(
            "--version", callback=_version, is_eager=True, help="Show the version and exit."
        ),
    ] = False,
) -> None:
    """Night watch over the planned temperatures of a sake brewery."""


def command_line(only: str | None = None) -> typer.Typer:
    """All commands, or those of one module of this room, so that no other one is read."""
    app = typer.Typer(
        cls=Commands,
        no_args_is_help=True,
        rich_markup_mode=None,
        epilog=EXAMPLES,
        pretty_exceptions_enable=False,
        context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    )
    app.callback()(everything)
    if only is not None:
        import_module(f"kuraban.cli.{only}").add_to(app)
        return app
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

    for group in (
        run, check, replay, rehearse, status, wall, why, doctor, history, batch_export,
        import_tables, morning_report, log, record, journal, page_test, probe, password,
        alarm_down, duty, feed, init, courses, reckon,
    ):  # fmt: skip
        group.add_to(app)
    return app


def main() -> None:
    """The entry point of the command `kuraban`."""
    command_line(MODULES.get(sys.argv[1]) if len(sys.argv) > 1 else None)()
