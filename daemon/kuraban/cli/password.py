"""`kuraban password`: the line for an account's password, which itself is never written down."""

from __future__ import annotations

import typer

from kuraban.errors import OperatorError


def add_to(app: typer.Typer) -> None:
    app.command(epilog="Example: kuraban password")(password)


def password() -> None:
    """Turn a password into the line that an account of the site file takes."""
    from kuraban.edges.web import hash_password

    typed = typer.prompt("Password", hide_input=True, confirmation_prompt="Once more")
    try:
        typer.echo(f'password = "{hash_password(typed)}"')
    except ValueError as error:
        raise OperatorError(str(error)) from None
