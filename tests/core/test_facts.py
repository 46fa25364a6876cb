"""Facts are what the journal keeps: unchangeable, and the same when they come back from it."""

from __future__ import annotations

import msgspec
import pytest

from kuraban.core.entries import Stir, read_special
from kuraban.core.facts import (
    ClockStepped,
    Delivered,
    Fact,
    HouseChanged,
    Impaired,
    Logged,
    Reading,
    Refusal,
)
from tests.core.house import DUSK

FACTS: list[Fact] = [
    Reading("t3-mid", DUSK, 10.46, DUSK + 1, sent=DUSK - 5, late=True),
    Refusal("kura/reading/x", DUSK, "no such probe", "10.4", "t3-mid", wild=True),
    Logged("e1", "tank-3", Stir(), DUSK, DUSK + 1, "aki", "page", 10.4),
    HouseChanged(DUSK, "{}"),
    Delivered("r1", "aki", DUSK, DUSK, sent=False, tries=3, reason="refused"),
    Impaired("broker", True, DUSK, "connection lost"),
    ClockStepped(DUSK, -3600.0, -3600.0, DUSK - 60, watched=False),
]


@pytest.mark.parametrize("fact", FACTS, ids=lambda fact: type(fact).__name__)
def test_a_fact_comes_back_from_the_journal_as_it_was(fact: Fact) -> None:
    text = msgspec.json.encode(fact)
    assert msgspec.json.decode(text, type=type(fact), dec_hook=_read) == fact


def _read(kind: type, value: object) -> object:
    return read_special(kind, value)


@pytest.mark.parametrize("fact", FACTS, ids=lambda fact: type(fact).__name__)
def test_a_fact_cannot_be_changed(fact: Fact) -> None:
    with pytest.raises(AttributeError):
        fact.received = 0.0  # type: ignore[misc]


@pytest.mark.parametrize("fact", FACTS, ids=lambda fact: type(fact).__name__)
def test_every_fact_knows_when_the_watch_came_to_know_it(fact: Fact) -> None:
    assert DUSK <= fact.received <= DUSK + 1
