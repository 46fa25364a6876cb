"""Why something was not taken, known again by its own sentence.

The door and the books give their reasons in English, and so the journal keeps them. Each of their
sentences stands in the pages' catalogue as well, under `reason`, in English word for word as it is
given. So the sentence tells which it is and what its facts are, and the page says it in the
reader's language, with the names that people know. One that is not there is shown as it is.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import lru_cache
from typing import NamedTuple

TABLE = "pages.reason."
_PIECE = re.compile(r"\{(\w+)\}|\[([^\]]*)\]")
_MORE = re.compile(r"(.*?)(?: and (\d+) more)?", re.DOTALL)


class Reason(NamedTuple):
    """The key of a sentence, and what stood in its fields."""

    key: str
    facts: dict[str, str]


class Listed(NamedTuple):
    """Names as a sentence lists them, and how many more there are."""

    names: list[str]
    more: int


def read(reason: str, english: Mapping[str, str]) -> Reason | None:
    """Which sentence of the English catalogue a reason is, the most particular; None for none."""
    best: tuple[int, Reason] | None = None
    for key, template in english.items():
        if not key.startswith(TABLE):
            continue
        pattern, letters = _pattern(template)
        found = pattern.fullmatch(reason)
        if found is not None and (best is None or letters > best[0]):
            known = {name: text for name, text in found.groupdict().items() if text is not None}
            best = letters, Reason(key.removeprefix(TABLE), known)
    return None if best is None else best[1]


def listed(text: str) -> Listed:
    found = _MORE.fullmatch(text)
    assert found is not None
    return Listed(found[1].split(", "), int(found[2] or 0))


@lru_cache(maxsize=200)
def _pattern(template: str) -> tuple[re.Pattern[str], int]:
    """What matches a template filled in, and how many letters of it are its own."""
    text, letters, last = "", 0, 0
    for piece in _PIECE.finditer(template):
        plain = template[last : piece.start()]
        text, letters, last = text + re.escape(plain), letters + len(plain), piece.end()
        inner = _pattern(piece[2])[0].pattern if piece[2] is not None else ""
        text += f"(?:{inner})?" if inner else f"(?P<{piece[1]}>.+?)"
    plain = template[last:]
    return re.compile(text + re.escape(plain), re.DOTALL), letters + len(plain)
