"""One table into the archive: all of it or nothing, and nothing twice."""

from __future__ import annotations

from contextlib import closing
from pathlib import Path

import pytest

from kuraban.core.effects import Turn
from kuraban.core.facts import HouseChanged
from kuraban.core.site import to_document
from kuraban.core.units import parse_time
from kuraban.store.history import History
from kuraban.store.journal import Journal
from tests.imports import mangled
from tests.imports.conftest import Take
from tests.imports.mangled import BATCH, BATCHES, GOOD, HEADS, OF_BATCHES, WIDE, Mangled, house


@pytest.mark.parametrize("one", [*mangled.files()], ids=lambda one: one.name)
def test_a_mangled_table_says_where_and_what_would_be_right(one: Mangled, tmp_path: Path) -> None:
    """And leaves nothing behind, of the rows above neither."""
    told = mangled.refusal(one, tmp_path)
    assert one.where in told and one.right in told
    assert told in mangled.README.read_text("utf-8")
    with closing(History(tmp_path / "kuraban.past")) as history:
        assert not history.probes_last() and not list(history.ids())


def test_the_same_again_is_nothing_and_more_of_it_only_what_is_new(take: Take) -> None:
    assert take(WIDE, HEADS + GOOD).added == (2, 0, 0)
    assert take(WIDE, HEADS + GOOD).added == (0, 2, 0)
    changed, more = GOOD.replace("10.7", "10.8"), GOOD.replace("10:00", "10:01")
    assert take(WIDE, HEADS + changed + more).added == (2, 1, 1)
    assert take(BATCHES, OF_BATCHES + BATCH).added == (3, 0, 0)
    assert take(BATCHES, OF_BATCHES + BATCH).added == (0, 3, 0)


def test_what_the_watch_saw_itself_is_left_out(take: Take, tmp_path: Path) -> None:
    """Its own journal stays as it is, to the last byte."""
    path, begun = tmp_path / "kuraban.journal", parse_time("2025-02-01T00:00:00+09:00")
    journal = Journal.open(path)
    journal.commit(Turn(now=begun, facts=[HouseChanged(begun, to_document(house()))]))
    journal.close()
    before = path.read_bytes()
    found = take(WIDE, HEADS + GOOD + GOOD.replace("01-20", "02-20"))
    assert (found.added.new, found.later) == (2, 2)
    assert take(BATCHES, OF_BATCHES + BATCH).later == 3, "still ran when the watch began"
    assert path.read_bytes() == before
