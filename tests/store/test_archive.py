"""The past from before the watch, beside its journal."""

from __future__ import annotations

from contextlib import closing
from pathlib import Path

import pytest

from kuraban.core import entries as e
from kuraban.core.effects import Turn
from kuraban.core.facts import HouseChanged, Logged, Reading
from kuraban.core.site import to_document
from kuraban.errors import JournalError
from kuraban.store.archive import Archive, WholeHistory
from kuraban.store.journal import Journal
from tests.journals import house

BEGUN = 1_738_000_000.0


@pytest.fixture
def journal(tmp_path: Path) -> Path:
    """A watch that began, and a past of two readings and a note before it."""
    path = tmp_path / "kuraban.journal"
    watch = Journal.open(path)
    facts = [HouseChanged(BEGUN, to_document(house())), Reading("t3-mid", BEGUN, 9.0, BEGUN)]
    watch.commit(Turn(now=BEGUN, facts=facts))
    watch.close()
    with closing(Archive(path)) as archive, archive.begin():
        archive.readings([("t3-mid", BEGUN - 60, 8.0), ("t3-mid", BEGUN - 120, 7.0)])
        note = Logged("a", "tank-3", e.Note(text="foam"), BEGUN - 90, BEGUN - 90)
        assert archive.entries([note], str) == (1, 0, 0) and archive.entries([note], str).known
        archive.house(to_document(house()))
    return path


def test_past_and_journal_are_told_as_one(journal: Path) -> None:
    with closing(WholeHistory(journal)) as history:
        span = (BEGUN - 200, BEGUN + 200)
        assert [value for _, value in history.readings("t3-mid", *span)] == [7.0, 8.0, 9.0]
        assert [value for _, value, _ in history.graded("t3-mid", *span)] == [7.0, 8.0, 9.0]
        assert [one.entry for one in history.counting("tank-3", *span)] == [e.Note(text="foam")]


def test_the_past_is_told_again_in_the_order_of_its_times(journal: Path) -> None:
    """Whatever was imported first; without a beginning in it, the journal alone."""
    with closing(WholeHistory(journal)) as history:
        told = [fact for _, fact in history.facts_since(BEGUN - 200, None)]
        kinds = [type(fact).__name__ for fact in told]
        assert kinds == ["HouseChanged", "Reading", "Logged", "Reading", "HouseChanged", "Reading"]
        assert len(list(history.facts_since(None, None))) == 2


def test_a_broken_import_leaves_the_past_as_it_was(journal: Path) -> None:
    with closing(Archive(journal)) as archive:
        with pytest.raises(KeyError), archive.begin():
            archive.readings([("t4-mid", BEGUN - 60, 8.0)])
            raise KeyError
        with archive.begin():
            assert archive.readings([("t4-mid", BEGUN - 60, 8.0)]) == (1, 0, 0)


def test_the_file_of_another_program_is_left_alone(journal: Path) -> None:
    """And nobody who looks at the journal is kept from it."""
    journal.with_name("kuraban.past").write_bytes(b"other" * 500)
    with pytest.raises(JournalError, match=r"kuraban\.past"):
        Archive(journal)
    with closing(WholeHistory(journal)) as history:
        assert [value for _, value in history.readings("t3-mid", 0.0, BEGUN + 1)] == [9.0]
