"""Two watches on one journal would ring everybody twice: the second is refused."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from kuraban.errors import JournalError
from kuraban.store.journal_lock import held

HOLDER = """
import sys, time
from pathlib import Path
from kuraban.store.journal_lock import held
with held(Path(sys.argv[1])):
    print("held", flush=True)
    time.sleep(60)
"""


@pytest.fixture
def journal(tmp_path: Path) -> Path:
    return tmp_path / "data" / "kuraban.journal"


def _elsewhere(journal: Path) -> subprocess.Popen[str]:
    child = subprocess.Popen(
        [sys.executable, "-c", HOLDER, str(journal)],
        stdout=subprocess.PIPE, text=True,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)},
    )  # fmt: skip
    assert child.stdout is not None and child.stdout.readline() == "held\n"
    return child


def test_the_second_watch_is_told_which_process_has_the_journal(journal: Path) -> None:
    with (
        held(journal),
        pytest.raises(JournalError, match=rf"process {os.getpid()} watches") as refused,
        held(journal),
    ):
        pass
    assert "another data folder" in str(refused.value) and str(journal) in str(refused.value)


def test_a_watch_that_was_killed_leaves_the_journal_free(journal: Path) -> None:
    child = _elsewhere(journal)
    with pytest.raises(JournalError, match=f"process {child.pid} "), held(journal):
        pass
    child.kill()
    child.communicate()
    with held(journal):
        assert journal.with_name("kuraban.journal.lock").read_text() == str(os.getpid())


def test_whoever_is_refused_leaves_the_holders_number(journal: Path) -> None:
    with held(journal):
        for _ in range(2):
            with pytest.raises(JournalError, match=f"process {os.getpid()} "), held(journal):
                pass


def test_a_place_where_no_lock_can_lie_is_watched_all_the_same(tmp_path: Path) -> None:
    journal = tmp_path / "kuraban.journal"
    journal.with_name("kuraban.journal.lock").mkdir()
    ran = False
    with held(journal):
        ran = True
    assert ran
