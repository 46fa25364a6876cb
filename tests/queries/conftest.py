"""A drifting tank in the journal, for whoever asks afterwards."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from kuraban.queries.journal_state import JournalState, looking
from kuraban.settings.catalogues import load_words
from kuraban.store.history import History
from tests.journals import live_through


@pytest.fixture(scope="session")
def drifted(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The journal of a night in which tank 2 drifts warm, up to when that has been told."""
    path = tmp_path_factory.mktemp("drifted") / "data" / "kuraban.journal"
    live_through("slow-drift", path, share=0.9)
    return path


@pytest.fixture
def state(drifted: Path) -> Iterator[JournalState]:
    """The watch of that night, asked five seconds after its last turn."""
    history = History(drifted)
    last = history.now()
    history.close()
    assert last is not None
    with looking(drifted, load_words(), last + 5) as found:
        yield found
