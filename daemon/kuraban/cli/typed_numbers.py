"""Every number of every command, read as people type it."""

from __future__ import annotations

import re
from collections.abc import Callable
from functools import partial
from typing import Any

import typer

from kuraban.core.intake.typed_figures import figure, whole


def read_figures(command: Any) -> None:
    """Let every number of a command, and of those below it, be typed in any of these ways."""
    for below in getattr(command, "commands", {}).values():
        read_figures(below)
    for param in command.params:
        held = str(getattr(getattr(param, "type_descriptor", param), "annotation", ""))
        read = float_text if "float" in held else whole_text if "int'" in held else None
        if read is not None:
            param.process_value = partial(_processed, param, param.process_value, read)


def float_text(text: str) -> str:
    return repr(figure(text))


def whole_text(text: str) -> str:
    return str(whole(text))


def _processed(
    param: Any, process: Callable[[Any, Any], Any], read: Callable[[str], str], ctx: Any, value: Any
) -> Any:
    try:
        if isinstance(value, str):
            value = read(value)
        elif isinstance(value, (list, tuple)):
            value = type(value)(read(one) if isinstance(one, str) else one for one in value)
        return process(ctx, value)
    except ValueError as error:
        wrong = str(error)
    except typer.BadParameter as error:
        wrong = _in_our_words(error.message, value)
    raise typer.BadParameter(wrong, ctx=ctx, param=param)


def _in_our_words(told: str, value: object) -> str:
    """A bound that was left, as a checking library tells it, said as everything else is."""
    for theirs, ours in _BOUNDS.items():
        if (found := re.search(theirs + r" (\S+)$", told)) is not None:
            return f"{value} is out of range; give {found[1]} or {ours}"
    return told


_BOUNDS = {"greater than or equal to": "more", "less than or equal to": "less"}
