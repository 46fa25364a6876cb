from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from kuraban.errors import JournalError
from kuraban.store.connection import MEMORY, connect, damaged, is_there, telling, transaction
from kuraban.store.journal import Journal
from tests.store.nights import reading, turn


def test_an_interrupted_transaction_leaves_nothing() -> None:
    """Whatever ends it early, an error of ours included, the file is as before."""
    db = connect(MEMORY, "rwc")
    db.execute("CREATE TABLE cask(n)")
    with pytest.raises(KeyboardInterrupt), transaction(db):
        db.execute("INSERT INTO cask VALUES (1)")
        raise KeyboardInterrupt
    assert db.execute("SELECT count(*) FROM cask").fetchone() == (0,)
    assert not db.in_transaction
    db.close()


def test_an_error_names_the_file_the_deed_and_the_way_out() -> None:
    """Whoever reads the line at night knows which file and what to do."""
    with (
        pytest.raises(JournalError, match=r"^/data/k: cannot write a turn: .*; free some space"),
        telling(Path("/data/k"), "write a turn"),
    ):
        error = sqlite3.OperationalError("database or disk is full")
        error.sqlite_errorcode = sqlite3.SQLITE_FULL
        raise error


def test_only_the_file_itself_can_be_damaged() -> None:
    """A full disk or a closed journal is no reason to set the journal aside."""
    with pytest.raises(JournalError) as caught, telling(MEMORY, "read"):
        connect(MEMORY, "rwc").execute("SELECT * FROM nothing")
    assert not damaged(caught.value)
    assert not damaged(JournalError("no cause"))


def test_a_closed_journal_says_so() -> None:
    """Written to after its end, the journal raises the one error that callers know."""
    journal = Journal.open(MEMORY)
    journal.close()
    with pytest.raises(JournalError, match="closed"):
        journal.commit(turn(0))


def test_a_reading_of_its_own_writes_little(tmp_path: Path) -> None:
    """A memory card wears out by what is written to it: three small pages a reading."""
    journal, before = Journal.open(tmp_path / "journal"), 0
    for number in range(200):
        journal.commit(turn(number, reading(number)))
        if number == 99:
            before = (tmp_path / "journal-wal").stat().st_size
    assert (tmp_path / "journal-wal").stat().st_size - before < 100 * 4 * 1100
    journal.close()


def test_a_path_may_hold_any_sign(tmp_path: Path) -> None:
    """A folder named with spaces, question marks or in Japanese is a folder like any other."""
    path = tmp_path / "蔵 1?mode=ro#%41" / "kuraban.journal"
    journal = Journal.open(path)
    journal.commit(turn(0))
    journal.close()
    assert path.exists()


def test_a_journal_that_this_account_may_not_read_is_one_line(tmp_path: Path) -> None:
    """Neither its folder nor itself; root may read everything, so another account asks."""
    folder = tmp_path / "data"
    folder.mkdir()
    journal = folder / "kuraban.journal"
    journal.touch()
    assert is_there(journal) and not is_there(folder / "other.journal")
    for above in (tmp_path, tmp_path.parent, tmp_path.parent.parent):
        above.chmod(0o755)
    for closed in (journal, folder):
        closed.chmod(0)
        with somebody_else(), pytest.raises(JournalError, match="may not read it; only root and"):
            is_there(journal)
    folder.chmod(0o700)


@contextmanager
def somebody_else() -> Iterator[None]:
    """As an account that nobody gave any rights; the tests' own, where that is not root."""
    before = os.geteuid()
    os.seteuid(65534 if before == 0 else before)
    try:
        yield
    finally:
        os.seteuid(before)
