"""What people type into a form of several fields, read kindly: numbers, and moments of the wall
clock. A text that cannot be read is a ValueError with the text itself; what stays empty is None.
"""

from __future__ import annotations

import unicodedata
from datetime import datetime, tzinfo
from math import isfinite

from kuraban.core.timescale import moment_of


def plain(text: str) -> str:
    """Full-width figures, a true minus and a decimal comma as a machine writes them."""
    return unicodedata.normalize("NFKC", text).replace("−", "-").replace(",", ".").strip()


def number(text: str) -> float | None:
    """A number, its degrees sign or per cent sign left out."""
    bare = plain(text).removesuffix("°C").removesuffix("%").strip()
    if not bare:
        return None
    value = float(bare)
    if not isfinite(value):
        raise ValueError(text)
    return value


def moment(text: str, zone: tzinfo) -> float | None:
    """The watch's time of "2026-02-04T03:10", as a browser writes a day and a time."""
    bare = plain(text).replace(" ", "T", 1)
    if not bare:
        return None
    told = datetime.fromisoformat(bare)
    wall = told if told.tzinfo is not None else told.replace(tzinfo=zone)
    return moment_of(wall.timestamp(), zone)
