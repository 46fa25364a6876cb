"""The watch is found again from its journal, and the journal is left as it was."""

from __future__ import annotations

import stat
from pathlib import Path

import pytest

from kuraban.core.effects import Turn
from kuraban.core.facts import ClockStepped
from kuraban.core.timescale import Piece
from kuraban.errors import JournalError
from kuraban.queries.journal_state import JournalState, clocked, looking, open_history
from kuraban.settings.catalogues import load_words
from kuraban.store.journal import Journal
from tests.journals import house


def test_the_view_knows_what_the_watch_knew(state: JournalState) -> None:
    """Its batches and its alarms, as of its last turn."""
    assert state.engine.view.batch("tank-2", state.engine.now) is not None
    assert state.engine.now == state.last_turn == state.asked - 5
    assert ("tank-2", "warm") in state.engine.view.standing


def test_looking_writes_nothing(drifted: Path) -> None:
    """Not even where it could."""
    before = drifted.read_bytes()
    with looking(drifted, load_words(), 0.0) as found:
        found.engine.wake(found.engine.now + 3600)
    assert drifted.read_bytes() == before


def test_no_journal_says_what_to_do(tmp_path: Path) -> None:
    with pytest.raises(JournalError, match="kuraban run"):
        open_history(tmp_path / "kuraban.journal")
    assert not (tmp_path / "kuraban.journal").exists()


def test_a_file_that_is_no_journal_is_told_by_name(tmp_path: Path) -> None:
    path = tmp_path / "kuraban.journal"
    path.write_text("not a data base at all, and quite long enough to be looked at\n" * 20)
    with (
        pytest.raises(JournalError, match="no journal"),
        looking(path, load_words(), 0.0),
    ):
        pass


def test_an_empty_journal_is_a_watch_that_has_not_begun(tmp_path: Path) -> None:
    path = tmp_path / "kuraban.journal"
    Journal.open(path).close()
    path.chmod(stat.S_IRUSR | stat.S_IWUSR)
    with looking(path, load_words(), 0.0) as found:
        assert not found.engine.started and found.last_turn is None


def test_the_house_goes_by_the_clock_of_its_journal(tmp_path: Path) -> None:
    """By the plain one where nothing stepped, or there is no journal that can be read."""
    path, plain = tmp_path / "kuraban.journal", house()
    assert clocked(plain, path) is plain
    kept = Journal.open(path)
    assert clocked(plain, path) == plain
    kept.commit(Turn(now=9.0, facts=[ClockStepped(5.0, 3600.0, 3600.0, 1.0)]))
    kept.close()
    assert clocked(plain, path).clock == (Piece(1.0, 3600.0),)
    path.write_text("not a data base at all, and quite long enough to be looked at" * 20)
    assert clocked(plain, path) is plain
