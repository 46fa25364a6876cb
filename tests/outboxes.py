"""What a courier may rely on, whichever outbox it claims from: one suite for all of them.

A module that tests an outbox has a class of this one's children, with a fixture `box` that gives
the outbox under test, behind what the watch does to it.
"""

from __future__ import annotations

from typing import Protocol

import msgspec

from kuraban.core.effects import Message
from kuraban.edges.phones.delivery_state import Rows
from kuraban.store.outbox import Row
from tests.store.nights import EVENING, notice, page

LATER = EVENING + 3600
WARM, COLD = "tank-3/warm", "bed-1/cold"


class Box(Protocol):
    """An outbox, and the two things that a turn of the watch does to it."""

    rows: Rows

    def put(self, *messages: Message) -> None: ...
    def withdraw(self, *alarms: str) -> None: ...


def ids(box: Box, person: str = "aki", now: float = LATER) -> list[str]:
    return [row.id for row in box.rows.waiting(person, now)]


def claimed(box: Box, row_id: str, now: float = LATER) -> Row:
    row = box.rows.claim(row_id, now)
    assert row is not None, f"{row_id} cannot be claimed"
    return row


def about(alarm: str) -> Message:
    """A notice that names an alarm, such as who has it."""
    return msgspec.structs.replace(notice("n1"), alarms=(alarm,))


class OutboxContract:
    def test_pages_wait_before_notices_each_in_the_order_made(self, box: Box) -> None:
        """And nobody sees another's."""
        box.put(notice("m1"), page("m2"), page("m3"), page("m4", person="ken"))
        assert ids(box) == ["m2", "m3", "m1"] and ids(box, "ken") == ["m4"]
        assert box.rows.waiting("aki", LATER)[0].message == page("m2")

    def test_nothing_waits_before_it_was_made(self, box: Box) -> None:
        box.put(page("m1"), page("m2", minute=5))
        assert ids(box, now=EVENING - 1) == [] and ids(box, now=EVENING) == ["m1"]
        assert box.rows.next_due("aki") == EVENING and box.rows.next_due("emi") is None

    def test_a_row_is_claimed_once(self, box: Box) -> None:
        box.put(page("m1"), page("m2", minute=5))
        row = claimed(box, "m1")
        assert (row.tries, row.doubtful, row.had) == (1, False, frozenset())
        assert box.rows.claim("m1", LATER) is None and box.rows.claim("m9", LATER) is None
        assert ids(box) == ["m2"] and box.rows.next_due("aki") == EVENING + 300

    def test_what_was_sent_is_done(self, box: Box) -> None:
        box.put(page("m1"))
        claimed(box, "m1")
        box.rows.sent("m1", LATER)
        assert box.rows.claim("m1", LATER) is None and ids(box) == []

    def test_what_nobody_claimed_is_neither_sent_nor_failed(self, box: Box) -> None:
        box.put(page("m1"))
        box.rows.sent("m1", LATER)
        box.rows.failed("m1", LATER, "no answer", None)
        box.rows.failed("m1", LATER, "no answer", LATER + 600)
        assert ids(box) == ["m1"]

    def test_what_failed_waits_for_its_next_try(self, box: Box) -> None:
        """A service that had it is not asked again, and tries are counted."""
        box.put(page("m1"))
        claimed(box, "m1")
        box.rows.tried("m1", "0", LATER, sent=True)
        box.rows.tried("m1", "1", LATER, sent=False, reason="timed out")
        box.rows.failed("m1", LATER, "timed out", LATER + 30)
        assert ids(box, now=LATER + 29) == [] and ids(box, now=LATER + 30) == ["m1"]
        assert box.rows.next_due("aki") == LATER + 30
        row = claimed(box, "m1", LATER + 30)
        assert (row.tries, row.had) == (2, frozenset({"0"}))

    def test_what_failed_for_good_is_gone(self, box: Box) -> None:
        box.put(page("m1"))
        claimed(box, "m1")
        box.rows.failed("m1", LATER, "no address", None)
        assert ids(box) == [] and box.rows.claim("m1", LATER) is None

    def test_an_alarm_in_hand_pages_nobody_further(self, box: Box) -> None:
        """The word about who has it goes on, and so do pages of other alarms."""
        box.put(page("m1"), page("m2", person="ken"), page("m3", COLD), about(WARM))
        box.withdraw(WARM)
        assert ids(box) == ["m3", "n1"] and ids(box, "ken") == []
        assert box.rows.claim("m1", LATER) is None

    def test_a_gathered_page_waits_until_all_its_alarms_are_in_hand(self, box: Box) -> None:
        box.put(page("m1", WARM, COLD))
        box.withdraw(WARM)
        box.withdraw(WARM)
        assert ids(box) == ["m1"]
        box.withdraw(COLD)
        assert ids(box) == []

    def test_a_page_on_its_way_has_no_second_try_once_the_alarm_is_in_hand(self, box: Box) -> None:
        box.put(page("m1"), page("m2"), page("m3", WARM, COLD))
        for row_id in ("m1", "m2", "m3"):
            claimed(box, row_id)
        box.withdraw(WARM)
        box.rows.sent("m1", LATER)
        box.rows.failed("m2", LATER, "timed out", LATER + 30)
        box.rows.failed("m3", LATER, "timed out", LATER + 30)
        assert ids(box, now=LATER + 60) == ["m3"], "it tells of another alarm too"
        claimed(box, "m3", LATER + 60)
        box.withdraw(COLD)
        box.rows.failed("m3", LATER + 60, "timed out", LATER + 90)
        assert ids(box, now=LATER + 120) == []

    def test_a_page_made_after_the_alarm_was_in_hand_goes_out(self, box: Box) -> None:
        box.put(page("m1"))
        box.withdraw(WARM)
        box.put(page("m2"))
        assert ids(box) == ["m2"]

    def test_a_page_of_no_alarm_is_never_withdrawn(self, box: Box) -> None:
        """Such as the one that tries whether a phone rings."""
        box.put(msgspec.structs.replace(page("m1"), alarms=()))
        box.withdraw(WARM)
        assert ids(box) == ["m1"]


class CrashContract(OutboxContract):
    """For an outbox that can be taken up again where a courier left it."""

    def test_after_a_crash_a_claimed_row_is_doubtful(self, box: Box) -> None:
        """It may have arrived; it stays in doubt however often it is tried, what waited is not."""
        box.put(page("m1"), page("m2"))
        claimed(box, "m1")
        box.rows.tried("m1", "0", LATER, sent=True)
        assert box.rows.recover(LATER) == 1 and box.rows.recover(LATER) == 0
        rows = {row.id: row for row in box.rows.waiting("aki", LATER)}
        assert (rows["m1"].doubtful, rows["m1"].had) == (True, frozenset({"0"}))
        assert not rows["m2"].doubtful
        claimed(box, "m1")
        box.rows.failed("m1", LATER, "timed out", LATER + 30)
        assert box.rows.waiting("aki", LATER + 30)[0].doubtful

    def test_after_a_crash_what_was_taken_in_hand_meanwhile_is_over(self, box: Box) -> None:
        box.put(page("m1"))
        claimed(box, "m1")
        box.withdraw(WARM)
        assert box.rows.recover(LATER) == 1
        assert ids(box) == []
