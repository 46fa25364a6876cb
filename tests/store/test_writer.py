from __future__ import annotations

import re
from pathlib import Path
from typing import get_args

from kuraban.core.facts import Record
from kuraban.store.journal import FACTS, Journal
from tests.store.nights import logged, page, reading, step, turn


def test_one_counter_numbers_the_whole_story(kept: Journal) -> None:
    """Facts, steps and messages of a turn have numbers of one row, facts first."""
    kept.commit(turn(0, reading(0), logged("e1"), step("raised"), page("m1"), step("normal", 1)))
    numbers = {
        table: [seq for (seq,) in kept._db.execute(f"SELECT seq FROM {table}")]
        for table in ("reading", "entry", "step", "message")
    }
    assert numbers == {"reading": [1], "entry": [2], "step": [3, 5], "message": [4]}


def test_every_kind_of_fact_has_its_table() -> None:
    """A new kind of fact that nobody taught the journal would be lost without a word."""
    assert len(FACTS) == len(get_args(Record))


def test_no_address_has_a_column(path: Path, kept: Journal) -> None:
    """Addresses are secrets: no table has a place for one."""
    text = " ".join(sql for (sql,) in kept._db.execute("SELECT sql FROM sqlite_schema") if sql)
    assert not re.search(r"address|url|secret|token", text, re.IGNORECASE)
