"""The message catalogues that the package carries, one TOML file a language."""

from __future__ import annotations

import tomllib
from importlib.resources import files

from kuraban.core.wording import Words


def load_words() -> Words:
    """All catalogues; ValueError names a key that a language lacks."""
    folder = files("kuraban") / "shared" / "words"
    tables = {}
    for file in sorted(folder.iterdir(), key=lambda file: file.name):
        language, dot, kind = file.name.partition(".")
        if dot and kind == "toml":
            tables[language] = tomllib.loads(file.read_text("utf-8"))
    return Words.from_tables(tables)
