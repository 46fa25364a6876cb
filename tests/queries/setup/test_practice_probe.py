"""An invented product and the probe in it, to practise with."""

from __future__ import annotations

import pytest

from kuraban.core.units import DAY, HOUR, MINUTE
from kuraban.queries.setup.practice_probe import Fault, PracticeProbe, longest_stage
from tests.journals import house

BEGUN = 1_770_000_000.0
WRONG = BEGUN + DAY + HOUR


def lived(fault: Fault) -> list[float | None]:
    """An hour when all is well and four of the fault, a reading a minute."""
    found = house()
    course = found.course["moromi-slow-33"]
    probe = PracticeProbe(found, course, longest_stage(course), BEGUN, fault, WRONG)
    return [probe.reading(BEGUN + DAY + n * MINUTE) for n in range(300)]


@pytest.mark.parametrize(
    ("fault", "least", "most"),
    [("none", 10.0, 10.6), ("stalls", 11.2, 11.9), ("drifts", 9.0, 9.6), ("falls-out", 13.8, 14.2)],
)
def test_each_fault_leads_where_it_leads(fault: Fault, least: float, most: float) -> None:
    """From the plan of the main mash, 10.3 °C."""
    found = lived(fault)
    assert all(value is not None and 10.0 <= value <= 10.6 for value in found[:60])
    assert found[-1] is not None and least <= found[-1] <= most


def test_a_frozen_probe_says_one_thing_and_a_silent_one_nothing() -> None:
    assert len({*lived("freezes")[61:]}) == 1 and {*lived("falls-silent")[60:]} == {None}


def test_the_same_practice_twice_is_the_same() -> None:
    assert lived("stalls") == lived("stalls")
