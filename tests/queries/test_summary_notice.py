"""Whoever looks at what is long ago is told how much of it is there."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from kuraban.core.effects import Turn
from kuraban.core.facts import Fact, Reading
from kuraban.core.texts.translator import Speech
from kuraban.core.units import DAY
from kuraban.queries.summary_notice import kept, not_retold
from kuraban.settings.catalogues import load_words
from kuraban.store.history import History
from kuraban.store.journal import Journal
from kuraban.store.upkeep.retention import Bounds
from tests.journals import house

NOW = 1_770_000_000.0
"""2 February 2026 in Japan."""


@pytest.fixture
def history(tmp_path: Path) -> Iterator[History]:
    path = tmp_path / "kuraban.journal"
    with closing(Journal.open(path)) as journal:
        hours = [NOW - 80 * DAY + 3600.0 * n for n in range(24 * 80)]
        facts: list[Fact] = [Reading("t3-mid", at, 10.0, at) for at in hours]
        journal.commit(Turn(now=NOW, facts=facts))
        while journal.summarise(Bounds(NOW, NOW - 20 * DAY, NOW - 50 * DAY)):
            pass
    with closing(History(path)) as found:
        yield found


def speech(language: str) -> Speech:
    return Speech(load_words(), language, house().zone, NOW)


def test_it_is_told_in_both_languages(history: History) -> None:
    """Up to which day there is one value in ten minutes, and then one a minute."""
    span = (history, ["t3-mid"], NOW - 70 * DAY, NOW)
    assert list(kept(*span, speech("en"))) == [
        "Before 14 Dec: one value in ten minutes, extremes kept.",
        "Before 13 Jan: one value a minute, extremes kept.",
    ]
    assert list(kept(*span, speech("ja"))) == [
        "12月14日以前は10分に1点（最低と最高は残してある）。",
        "1月13日以前は1分に1点（最低と最高は残してある）。",
    ]


def test_of_what_is_there_in_full_nothing_is_said(history: History) -> None:
    assert list(kept(history, ["t3-mid"], NOW - 10 * DAY, NOW, speech("en"))) == []
    assert list(kept(history, ["t2-mid"], NOW - 70 * DAY, NOW, speech("en"))) == []


def test_a_recording_says_what_it_lacks(history: History) -> None:
    """One that begins later lacks nothing."""
    told = "Of readings before 13 Jan only summaries are left; those are not in the recording."
    assert not_retold(history, None, speech("en")) == told
    assert not_retold(history, NOW - 30 * DAY, speech("en")) == told
    assert not_retold(history, NOW - 10 * DAY, speech("en")) is None
