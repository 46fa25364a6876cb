"""Text of strangers where people read it: on a terminal, in a log, in a table."""

from __future__ import annotations

import re
from typing import Final

ORDERS: Final = re.compile(
    "[\x00-\x08\x0b-\x1f\x7f-\x9f\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069\ud800-\udfff]"
)
"""Control characters but tab and line end, and those that turn the direction of a line."""
INSTEAD: Final = "\ufffd"


def plain(text: str) -> str:
    """The text without what a terminal would take for an order; as many characters as before."""
    return ORDERS.sub(INSTEAD, text)


def json_plain(text: str) -> str:
    """The same for JSON, which has a spelling for each of them: whoever reads it gets every one."""
    return ORDERS.sub(lambda found: f"\\u{ord(found[0]):04x}", text)
