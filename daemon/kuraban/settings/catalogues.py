"""The catalogues that the package carries, one TOML file a language: messages, and pages."""

from __future__ import annotations

import tomllib
from importlib.resources import files

from kuraban.core.texts.messages import Words

PAGES = "pages"
"""Goes before every key of the pages' own catalogue."""


def load_words() -> Words:
    """What messages say; ValueError names a key that a language lacks."""
    return Words.from_tables(_tables("words"))


def load_page_words() -> Words:
    """What messages and pages say; ValueError names a key that a language lacks."""
    messages, own = _tables("words"), _tables(PAGES)
    return Words.from_tables(
        {
            language: {**messages.get(language, {}), PAGES: own.get(language, {})}
            for language in (messages | own)
        }
    )


def _tables(folder: str) -> dict[str, dict[str, object]]:
    found = {}
    inside = files("kuraban") / "shared" / folder
    for file in sorted(inside.iterdir(), key=lambda file: file.name):
        language, dot, kind = file.name.partition(".")
        if dot and kind == "toml":
            found[language] = tomllib.loads(file.read_text("utf-8"))
    return found
