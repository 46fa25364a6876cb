"""A machine's hours, from readings that may have gaps."""

from __future__ import annotations

from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from kuraban.core.units import HOUR, MINUTE
from kuraban.core.views.equipment_run_hours import Spell, ran, share, spells, starts

SILENT = 10 * MINUTE


def told(*values: float, every: float = MINUTE) -> list[tuple[float, float]]:
    return [(number * every, value) for number, value in enumerate(values)]


def test_a_run_goes_from_its_first_reading_to_the_first_of_the_rest() -> None:
    found = spells(told(0, 900, 900, 40, 40), 75.0, SILENT, 5 * MINUTE)
    assert found == [Spell(0, 60, False), Spell(60, 180, True), Spell(180, 300, False)]


def test_beyond_a_silent_probe_nobody_knows_whether_it_ran() -> None:
    """The last word counts for ten minutes; the hour until the next is not counted as run."""
    found = spells([(0.0, 1.0), (HOUR, 1.0)], 0.5, SILENT, HOUR + MINUTE)
    assert found == [Spell(0, SILENT, True), Spell(HOUR, HOUR + MINUTE, True)]
    assert ran(found, 0, 2 * HOUR) == SILENT + MINUTE


def test_a_start_is_a_run_after_a_rest_and_not_after_a_silence() -> None:
    found = spells(told(0, 1, 0, 1, 1, 0), 0.5, SILENT, 6 * MINUTE)
    assert starts(found, 0.0) == 2
    assert starts(found, 2 * MINUTE) == 1
    silent = spells([(0.0, 0.0), (HOUR, 1.0)], 0.5, SILENT, 2 * HOUR)
    assert starts(silent, 0.0) == 0


def test_a_share_is_of_the_known_time_and_needs_half_of_it() -> None:
    found = spells(told(1, 1, 0, 0), 0.5, SILENT, 4 * MINUTE)
    assert share(found, 0, 4 * MINUTE) == 0.5
    assert share(found, 0, HOUR) is None
    assert share([], 0, HOUR) is None


def test_a_day_without_a_reading_has_no_hours() -> None:
    """None, which is not the same as none run."""
    found = spells(told(0, 0, 0), 0.5, SILENT, 3 * MINUTE)
    assert ran(found, 0, HOUR) == 0.0
    assert ran(found, HOUR, 2 * HOUR) is None


@given(st.lists(st.tuples(st.integers(1, 3000), st.booleans()), max_size=40))
def test_spells_follow_each_other_and_never_overlap(gaps: list[tuple[int, bool]]) -> None:
    """However the readings come, no second is counted twice, and none after `until`."""
    at, readings = 0.0, []
    for gap, runs in gaps:
        at += gap
        readings.append((at, float(runs)))
    found = spells(readings, 0.5, SILENT, at)
    for before, after in pairwise(found):
        assert before.end <= after.start
        assert before.end < after.start or before.runs is not after.runs
    assert all(spell.start < spell.end <= at for spell in found)
