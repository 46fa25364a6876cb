"""Batches and samples of a table as the entries that people would have made."""

from __future__ import annotations

from contextlib import closing
from math import inf
from pathlib import Path

import pytest

from kuraban.core import entries as e
from kuraban.core.facts import Logged
from kuraban.errors import ConfigurationError
from kuraban.store.history import History
from tests.imports.conftest import Take
from tests.imports.mangled import BATCH, BATCHES, OF_BATCHES, SAMPLES

NOTED = BATCHES.columns | {"lees": "note"}


def counting(past: Path) -> list[Logged]:
    with closing(History(past)) as history:
        return list(history.counting("tank-3", 0.0, inf))


def test_a_batch_begins_goes_through_its_stages_and_ends(take: Take, past: Path) -> None:
    take(BATCHES, OF_BATCHES + BATCH)
    start, tome, end = counting(past)
    assert start.entry == e.BatchStart(
        batch="8", course="moromi-slow-33", stage="soe", rice_kg=600.0
    )
    assert tome.entry == e.StageMark(stage="tome") and isinstance(end.entry, e.BatchEnd)
    assert end.at == 1738702799.0, "a second before 06:00 of the day of pressing"


def test_one_batch_follows_another_on_the_day_of_pressing(take: Take) -> None:
    """From tables in any order."""
    later = "9,tank-3,2025-02-05,2025-02-08,2025-03-01,600\n"
    assert take(BATCHES, OF_BATCHES + later).added.new == 3
    assert take(BATCHES, OF_BATCHES + BATCH).added.new == 3
    earlier = "7,tank-3,2024-12-20,2024-12-23,2025-01-15,600\n"
    with pytest.raises(ConfigurationError, match="leaves no room for the batch-start"):
        take(BATCHES, OF_BATCHES + earlier)


def test_what_else_is_written_of_a_batch_is_a_note(take: Take, past: Path) -> None:
    mapping = type(BATCHES)(kind="batches", course=BATCHES.course, columns=NOTED)
    row = BATCH.replace("\n", ",210 kg\n")
    take(mapping, OF_BATCHES.replace("\n", ",lees\n") + row)
    assert e.Note(text="lees: 210 kg") in [one.entry for one in counting(past)]


def test_a_sample_belongs_to_where_its_batch_stood(take: Take, past: Path) -> None:
    take(BATCHES, OF_BATCHES + BATCH)
    found = take(SAMPLES, "day,No,Be,alc\n2025-01-20,8,6.5,7.5\n2025-01-25,8,,-\n")
    assert (found.added.new, found.gaps) == (1, 2)
    assert counting(past)[2].entry == e.Sample(baume=6.5, alcohol=7.5)
