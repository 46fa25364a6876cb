"""An engine that is built anew takes the entries of its journal as they were decided then."""

from __future__ import annotations

from pathlib import Path

from kuraban.runtime.recovery import recover
from kuraban.settings.catalogues import load_words
from kuraban.store.history import History
from kuraban.store.journal import Journal
from tests.store.stored import stored, unpack

NEWEST = max(stored(), key=lambda path: int(path.name.split("-")[1].split(".")[0]))


def test_what_waited_waits_and_what_counted_counts(tmp_path: Path) -> None:
    """Rules may have changed since; nobody is asked a second time, and no batch is lost."""
    path = unpack(NEWEST, tmp_path / "kuraban.journal")
    journal = Journal.open(path)
    engine = recover(journal, load_words())
    history = History(path)
    told = list(history.told(None, 0.0, float("inf")))
    history.close()
    journal.close()
    waiting = {t.logged.id for t in told if t.outcome is not None and t.outcome.fate == "waiting"}
    held = {one.logged.id for one in engine.entry_handler.pending.held.values()}
    assert held == waiting
    begun = [
        t.logged
        for t in told
        if t.outcome is not None
        and t.outcome.fate == "counted"
        and hasattr(t.logged.entry, "course")
    ]
    assert begun, "the stored night has a batch"
    known = engine.view.entry_log
    assert all(known.find(logged.id, logged.subject) is not None for logged in begun)
