"""The outbox in memory keeps what every outbox promises, and takes rows over as they stand."""

from __future__ import annotations

from dataclasses import replace

import pytest

from kuraban.core.effects import Message
from kuraban.edges.phones.fallback_outbox import MemoryOutbox
from tests.outboxes import COLD, LATER, WARM, CrashContract, claimed, ids
from tests.store.nights import page


class InMemory:
    def __init__(self) -> None:
        self.rows = MemoryOutbox()

    def put(self, *messages: Message) -> None:
        for message in messages:
            self.rows.put(message)

    def withdraw(self, *alarms: str) -> None:
        for alarm in alarms:
            self.rows.withdraw(alarm)


@pytest.fixture
def box() -> InMemory:
    return InMemory()


class TestContract(CrashContract):
    pass


def test_the_same_message_again_is_nothing(box: InMemory) -> None:
    box.put(page("m1"), page("m1"))
    assert len(box.rows) == 1


def test_a_row_is_taken_over_as_it_stands(box: InMemory) -> None:
    """What a service had, when it may be tried, and which of its alarms are in hand by now."""
    box.put(page("m1", WARM, COLD))
    row = replace(
        box.rows.waiting("aki", LATER)[0],
        due=LATER + 60, tries=3, doubtful=True, had=frozenset({"0"}), wanted=frozenset({COLD}),
    )  # fmt: skip
    other = InMemory()
    other.rows.take_over(row)
    assert ids(other) == [] and other.rows.waiting("aki", LATER + 60) == [row]
    other.withdraw(COLD)
    assert ids(other, now=LATER + 60) == []


def test_a_row_on_its_way_is_taken_over_as_one(box: InMemory) -> None:
    """Somebody is sending it; whether there is a next try is known here."""
    box.put(page("m1"))
    other = InMemory()
    other.rows.take_over(claimed(box, "m1"), claimed=True)
    assert ids(other) == []
    other.rows.failed("m1", LATER, "timed out", LATER)
    assert ids(other) == ["m1"]


def test_withdrawing_names_what_is_gone_and_forgetting_leaves_nothing(box: InMemory) -> None:
    box.put(page("m1"), page("m2", WARM, COLD), page("m3", COLD))
    assert box.rows.withdraw(WARM) == ["m1"]
    assert box.rows.withdraw(COLD) == ["m2", "m3"]
    box.put(page("m4"))
    box.rows.forget("m4")
    assert len(box.rows) == 0 and "m4" not in box.rows
