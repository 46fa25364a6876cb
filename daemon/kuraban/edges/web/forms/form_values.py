"""What people type into a form of several fields, read kindly: numbers, and moments of the wall
clock. A text that cannot be read is a ValueError with the text itself; what stays empty is None.
"""

from __future__ import annotations

from contextlib import suppress
from datetime import datetime, tzinfo
from math import isfinite

from kuraban.core.intake.typed_figures import figure, narrow
from kuraban.core.timescale import moment_of


def number(text: str) -> float | None:
    """A number, whatever unit is behind it."""
    if not narrow(text):
        return None
    with suppress(ValueError):
        if isfinite(value := figure(text)):
            return value
    raise ValueError(text)


def moment(text: str, zone: tzinfo) -> float | None:
    """The watch's time of "2026-02-04T03:10", as a browser writes a day and a time."""
    bare = narrow(text).replace(" ", "T", 1)
    if not bare:
        return None
    told = datetime.fromisoformat(bare)
    wall = told if told.tzinfo is not None else told.replace(tzinfo=zone)
    return moment_of(wall.timestamp(), zone)
