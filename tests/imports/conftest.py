"""An invented house into whose past tables are imported."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest

from kuraban.imports.importing import Import, Imported
from kuraban.imports.mapping import Mapping
from tests.imports.mangled import NOW, house

Take = Callable[..., Imported]


@pytest.fixture
def take(tmp_path: Path) -> Take:
    """Imports a table of that text, or those bytes, under a mapping."""

    def taken(mapping: Mapping, content: str | bytes, name: str = "table.csv") -> Imported:
        path = tmp_path / name
        path.write_bytes(content.encode() if isinstance(content, str) else content)
        with closing(Import(house(), tmp_path / "kuraban.journal", NOW)) as importing:
            return importing.table(path, mapping, lambda count: None, lambda count: None)

    return taken


@pytest.fixture
def past(tmp_path: Path) -> Path:
    return tmp_path / "kuraban.past"
