"""A watch that falls behind says so, and not at the first hurry."""

from __future__ import annotations

import pytest

from kuraban.edges.mqtt.fair_queue import Backlog
from kuraban.runtime import pace
from kuraban.runtime.pace import AFTER, LEVEL, Pace


class Noted:
    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.now, self.told = 1000.0, list[tuple[bool, str]]()
        monkeypatch.setattr(pace.time, "monotonic", lambda: self.now)
        monkeypatch.setattr(pace, "elapsed", lambda: self.now)
        self.pace = Pace(lambda part, holds, why: self.told.append((holds, why)), "kura")

    def look(self, seconds: float, behind: bool, most: str = "kura/reading/t3-mid") -> None:
        self.now += seconds
        self.pace.look(behind, lambda: Backlog(9000, 4_000_000, self.now - 30, most))


@pytest.fixture
def noted(monkeypatch: pytest.MonkeyPatch) -> Noted:
    return Noted(monkeypatch)


def test_some_seconds_of_hurry_are_nothing(noted: Noted) -> None:
    """A house that comes back from an outage sends more than can be judged at once."""
    noted.look(0, True)
    noted.look(AFTER - 1, True)
    noted.look(1, False)
    noted.look(LEVEL + 1, False)
    assert noted.told == []


def test_longer_than_that_is_told_once_with_by_how_much_and_whose(noted: Noted) -> None:
    for _ in range(30):
        noted.look(1, True)
    assert noted.told == [(True, "lag=30 most=t3-mid")]


def test_it_is_over_when_nothing_was_left_over_for_a_while(noted: Noted) -> None:
    for _ in range(12):
        noted.look(1, True)
    noted.look(LEVEL - 1, False)
    assert len(noted.told) == 1
    noted.look(2, False)
    assert noted.told[1:] == [(False, "")]
