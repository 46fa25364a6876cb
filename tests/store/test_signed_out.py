"""Which visits to the pages are over is known for as long as their cookies could come."""

from __future__ import annotations

from pathlib import Path

import pytest

from kuraban.errors import JournalError
from kuraban.store.signed_out import FILE, SignedOut

NOON = 1_770_087_600.0
MONTH = 30 * 86400.0


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / FILE


def test_a_visit_that_was_signed_out_is_over_after_the_next_start_too(path: Path) -> None:
    first = SignedOut(path)
    assert "mio's" not in first
    first.add("mio's", NOON, NOON + MONTH)
    first.close()
    then = SignedOut(path)
    assert "mio's" in then and "aki's" not in then
    then.close()


def test_what_no_cookie_can_open_any_more_is_forgotten(path: Path) -> None:
    """With the next one that signs out."""
    over = SignedOut(path)
    over.add("old", NOON, NOON + MONTH)
    over.add("new", NOON + MONTH + 1, NOON + 2 * MONTH)
    over.close()
    then = SignedOut(path)
    assert "old" not in then and "new" in then
    then.close()


def test_it_is_over_though_it_cannot_be_written(path: Path) -> None:
    """For as long as the pages run; whoever signs out hears that the disk fails."""
    over = SignedOut(path)
    over.close()
    with pytest.raises(JournalError, match=FILE):
        over.add("mio's", NOON, NOON + MONTH)
    assert "mio's" in over


def test_a_file_that_is_none_of_ours_is_told(path: Path) -> None:
    path.write_text("no list of visits" * 100)
    with pytest.raises(JournalError, match=FILE):
        SignedOut(path)
