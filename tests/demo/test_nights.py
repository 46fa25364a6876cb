"""The nights that a visitor may choose."""

from __future__ import annotations

from pathlib import Path

import pytest

from kuraban.demo.nights import NIGHTS, find_night
from kuraban.errors import ConfigurationError

FIXTURES = Path(__file__).parents[2] / "fixtures"


def test_without_a_checkout_there_is_no_night_to_play(tmp_path: Path) -> None:
    """An installed wheel says what to do instead."""
    with pytest.raises(ConfigurationError, match=r"start \./deploy/demo in a checkout"):
        find_night(tmp_path)


def test_the_night_says_what_nobody_can_see_yet() -> None:
    night = find_night(FIXTURES)
    assert [(one.subject, one.fault) for one in night.unseen] == [
        ("tank-5", "valve stuck shut"), ("t2-mid", "pulled out"), ("chiller-1", "power gone"),
    ]  # fmt: skip
    assert night.end - night.start == 10 * 3600


def test_a_night_that_there_is_not_is_answered_with_those_that_there_are() -> None:
    with pytest.raises(ConfigurationError) as refused:
        find_night(FIXTURES, "winter")
    said = str(refused.value)
    assert 'there is no night "winter"' in said
    assert all(name in said and what in said for name, (_, what) in NIGHTS.items())


@pytest.mark.parametrize("name", NIGHTS)
def test_every_night_of_the_list_is_there(name: str) -> None:
    night = find_night(FIXTURES, name)
    assert night.recording.is_file() and night.unseen
