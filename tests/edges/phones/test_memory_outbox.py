from __future__ import annotations

import pytest

from kuraban.edges.phones.memory_outbox import MemoryOutbox
from tests.edges.messages import AT, message


@pytest.fixture
def rows() -> MemoryOutbox:
    rows = MemoryOutbox()
    rows.put(message("a", step="notice"))
    rows.put(message("b"))
    return rows


def test_pages_come_before_notices(rows: MemoryOutbox) -> None:
    """Whoever is to be woken is woken before reports go out; other people's rows are theirs."""
    rows.put(message("c", person="ken"))
    assert [row.id for row in rows.waiting("aki", AT)] == ["b", "a"]
    assert rows.next_due("ken") == AT
    assert rows.next_due("emi") is None


def test_a_row_is_claimed_once(rows: MemoryOutbox) -> None:
    """A claimed row waits no longer and cannot be claimed again."""
    claimed = rows.claim("b", AT)
    assert claimed is not None
    assert claimed.tries == 1
    assert rows.claim("b", AT) is None
    assert rows.claim("nothing", AT) is None
    assert [row.id for row in rows.waiting("aki", AT)] == ["a"]


def test_a_failed_row_waits_for_its_time_and_a_sent_one_is_gone(rows: MemoryOutbox) -> None:
    """What one service took is remembered over the tries of the others."""
    rows.claim("b", AT)
    rows.tried("b", "aki's 1st address", AT, sent=True)
    rows.failed("b", AT, "no", AT + 2)
    assert [row.id for row in rows.waiting("aki", AT)] == ["a"]
    (row, _) = rows.waiting("aki", AT + 2)
    assert row.had == {"aki's 1st address"}
    rows.claim("b", AT + 2)
    rows.sent("b", AT + 2)
    assert len(rows) == 1
    rows.claim("a", AT)
    rows.failed("a", AT, "no", None)
    assert len(rows) == 0


def test_a_claim_that_nobody_finished_is_doubtful(rows: MemoryOutbox) -> None:
    """As in the outbox that is kept: it may have been sent."""
    rows.claim("b", AT)
    assert rows.recover(AT) == 1
    assert rows.waiting("aki", AT)[0].doubtful


def test_an_alarm_in_hand_rings_no_more(rows: MemoryOutbox) -> None:
    """Pages that wait and tell of nothing else are withdrawn."""
    rows.withdraw("tank-3/warm")
    assert [row.id for row in rows.waiting("aki", AT)] == ["a"]
