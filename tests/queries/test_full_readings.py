"""Readings in full out of the long history, where the journal has summaries."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from kuraban.core.effects import Turn
from kuraban.core.facts import HouseChanged, Reading
from kuraban.core.site import to_document
from kuraban.core.units import DAY, HOUR
from kuraban.errors import MachineError
from kuraban.queries.full_readings import FullReadings, Source
from kuraban.store.history import History
from kuraban.store.journal import Journal
from kuraban.store.upkeep.retention import Bounds
from tests.journals import house

AT = 1_769_900_400.0
TOLD = [(AT + n * 10.0 + n / 7000, 10.0 + n / 100) for n in range(720)]
"""Two hours; of the first there are only summaries."""


@pytest.fixture
def history(tmp_path: Path) -> Iterator[History]:
    path = tmp_path / "kuraban.journal"
    facts = [Reading("t3-mid", at, value, at) for at, value in TOLD]
    journal = Journal.open(path)
    journal.commit(Turn(now=AT + 3 * DAY, facts=[HouseChanged(AT, to_document(house())), *facts]))
    while journal.summarise(Bounds(AT + 3 * DAY, AT + HOUR, 0.0)):
        pass
    journal.close()
    with closing(History(path)) as found:
        yield found


def having(readings: list[tuple[float, float]], asked: list[tuple[float, float]]) -> Source:
    """A source of these, which keeps milliseconds and mixes them; what it was asked for."""

    def told(probe: str, start: float, end: float) -> list[tuple[float, float]]:
        asked.append((start, end))
        return [(int(at * 1000) / 1000, v) for at, v in reversed(readings) if start <= at < end]

    return told


def rounded(found: Iterator[tuple[float, float]]) -> list[tuple[int, float]]:
    return [(int(at * 1000), value) for at, value in found]


def test_without_a_source_it_is_what_the_journal_keeps(history: History) -> None:
    """The last moment is told of which there is no more than a summary."""
    full = FullReadings(history, (), house())
    assert list(full("t3-mid", AT, AT + DAY)) == list(history.readings("t3-mid", AT, AT + DAY))
    assert full.short == {"t3-mid": pytest.approx(TOLD[359][0], abs=0.001)}


def test_the_next_source_is_asked_for_what_the_one_before_lacks(history: History) -> None:
    """A hole, the beginning and the end, each reading once and in order; nobody is asked for what
    the journal has in full."""
    asked: list[tuple[float, float]] = []
    sources = (having(TOLD[50:100] + TOLD[130:300], []), having(TOLD, asked))
    full = FullReadings(history, sources, house())
    assert rounded(full("t3-mid", AT, AT + DAY)) == rounded(iter(TOLD)) and not full.short
    assert len(asked) == 1 and asked[0][1] <= AT + HOUR + 60.0
    asked.clear()
    assert list(full("t3-mid", AT + HOUR, AT + DAY)) == TOLD[360:] and not asked


def test_what_nobody_has_stays_a_summary(history: History) -> None:
    full = FullReadings(history, (having(TOLD[200:], []),), house())
    found = list(full("t3-mid", AT, AT + DAY))
    assert rounded(iter(found[-520:])) == rounded(iter(TOLD[200:])) and len(found) < 720
    assert TOLD[190][0] < full.short["t3-mid"] < TOLD[200][0]


def test_a_source_in_trouble_is_asked_once(history: History) -> None:
    """It says why, and the others are asked in its place."""

    def away(probe: str, start: float, end: float) -> list[tuple[float, float]]:
        raise MachineError("it was not reached\nat all")

    full = FullReadings(history, (away, having(TOLD, [])), house())
    assert rounded(full("t3-mid", AT, AT + 60 * DAY)) == rounded(iter(TOLD))
    assert full.troubles == ["it was not reached"] and len(full.sources) == 1
