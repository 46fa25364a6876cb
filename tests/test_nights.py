"""Every invented night: the same bytes however it is played, and what its truth asks for."""

from __future__ import annotations

import pytest

from fixtures import timelines
from tests.truths import false_rings, forbidden, lines_of, missing

NIGHTS = timelines.names()


@pytest.mark.parametrize("name", NIGHTS)
def test_a_night_gives_its_timeline_byte_for_byte(name: str) -> None:
    """Twice running, and in bundles of 7 as in bundles of 1,000."""
    kept = timelines.kept(name)
    assert kept, f"no timeline is kept for {name}: write it with fixtures/timelines.py"
    again = f"{name} tells another story; if that is meant, run fixtures/timelines.py {name}"
    assert timelines.timeline(name) == kept, again
    assert timelines.timeline(name) == kept
    assert timelines.timeline(name, bundle=7) == kept


@pytest.mark.parametrize("name", NIGHTS)
def test_a_night_tells_what_it_must(name: str) -> None:
    """What leaves its tolerance, stops or falls out is told to the right one in time."""
    assert missing(timelines.truth(name), lines_of(timelines.kept(name))) == []


@pytest.mark.parametrize("name", NIGHTS)
def test_a_night_rings_for_nothing_else(name: str) -> None:
    truth, lines = timelines.truth(name), lines_of(timelines.kept(name))
    assert false_rings(truth, lines) + forbidden(truth, lines) == []


def test_the_nights_are_all_there() -> None:
    """A folder without recording or truth would be passed over in silence."""
    assert len(NIGHTS) >= 27
    assert all(timelines.recording(name).exists() for name in NIGHTS)
