from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from pathlib import Path
from threading import Thread

import pytest

from kuraban.core.effects import Message
from kuraban.core.facts import Delivered
from kuraban.errors import JournalError
from kuraban.store.journal import Journal
from kuraban.store.outbox import Outbox
from tests.outboxes import CrashContract
from tests.store.nights import EVENING, page, step, turn

LATER = EVENING + 3600


@pytest.fixture
def outbox(kept: Journal, path: Path) -> Iterator[Outbox]:
    outbox = Outbox(path)
    yield outbox
    outbox.close()


class InJournal:
    """The outbox, and the turns that fill it."""

    def __init__(self, journal: Journal, rows: Outbox) -> None:
        self.rows = rows
        self._journal = journal
        self._turns = 0

    def put(self, *messages: Message) -> None:
        self._commit(*messages)

    def withdraw(self, *alarms: str) -> None:
        self._commit(*alarms)

    def _commit(self, *what: Message | str) -> None:
        self._journal.commit(turn(self._turns, *what))
        self._turns += 1


@pytest.fixture
def box(kept: Journal, outbox: Outbox) -> InJournal:
    return InJournal(kept, outbox)


class TestContract(CrashContract):
    pass


def ids(outbox: Outbox, person: str = "aki", now: float = LATER) -> list[str]:
    return [row.id for row in outbox.waiting(person, now)]


def test_no_outbox_without_a_journal(path: Path) -> None:
    """The courier begins no journal of its own."""
    with pytest.raises(JournalError, match="cannot open the outbox"):
        Outbox(path)
    assert not path.exists()


def test_a_result_is_reported_until_the_journal_has_it(kept: Journal, outbox: Outbox) -> None:
    """What became of a message is a fact, told until one turn has written it down."""
    kept.commit(turn(0, page("m1"), page("m2")))
    for row in ("m1", "m2"):
        outbox.claim(row, LATER)
    outbox.sent("m1", LATER)
    outbox.failed("m2", LATER + 1, "no such number", None)
    results = (
        Delivered("m1", "aki", LATER, LATER + 5, True, 1),
        Delivered("m2", "aki", LATER + 1, LATER + 5, False, 1, "no such number"),
    )
    assert outbox.unreported(LATER + 5) == results
    assert outbox.unreported(LATER + 5) == results
    kept.commit(turn(70, *results))
    assert outbox.unreported(LATER + 6) == ()


def test_a_failed_message_waits_for_its_next_try(kept: Journal, outbox: Outbox, path: Path) -> None:
    """A service that had it is not sent to again, and every try stays on record."""
    kept.commit(turn(0, page("m1")))
    outbox.claim("m1", LATER)
    outbox.tried("m1", "0", LATER + 1, sent=True)
    outbox.tried("m1", "1", LATER + 2, sent=False, reason="timed out")
    outbox.failed("m1", LATER + 2, "timed out", LATER + 30)
    assert ids(outbox, now=LATER + 29) == []
    assert outbox.next_due("aki") == LATER + 30
    row = outbox.claim("m1", LATER + 30)
    assert row is not None
    assert (row.tries, row.had) == (2, frozenset({"0"}))
    outbox.tried("m1", "1", LATER + 31, sent=True)
    outbox.sent("m1", LATER + 31)
    assert outbox.next_due("aki") is None
    assert outbox.unreported(LATER)[0].tries == 2
    tries = sqlite3.connect(path).execute("SELECT service, outcome, reason FROM attempt")
    assert tries.fetchall() == [
        ("0", "sent", ""),
        ("1", "failed", "timed out"),
        ("", "failed", "timed out"),
        ("1", "sent", ""),
        ("", "sent", ""),
    ]


def test_a_page_on_its_way_is_not_tried_again(kept: Journal, outbox: Outbox) -> None:
    """Claimed when the alarm was taken in hand, it may arrive, but has no second try."""
    kept.commit(turn(0, page("m1"), page("m2"), page("m3")))
    for row in ("m1", "m2", "m3"):
        outbox.claim(row, LATER)
    kept.commit(turn(1, "tank-3/warm"))
    outbox.sent("m1", LATER)
    outbox.failed("m2", LATER, "timed out", LATER + 30)
    assert outbox.recover(LATER) == 1
    assert ids(outbox, now=LATER + 60) == []
    assert [result.row for result in outbox.unreported(LATER)] == ["m1"]


def test_a_page_made_after_the_alarm_was_in_hand_goes_out(kept: Journal, outbox: Outbox) -> None:
    """Within one turn, too, the order counts: acknowledged first and rung again later rings."""
    story = (step("raised"), page("m1"), step("acknowledged"), "tank-3/warm", step("realarmed"))
    kept.commit(turn(0, *story, page("m2")))
    assert ids(outbox) == ["m2"]


def test_a_page_goes_with_a_sign_that_was_in_hand_before_it(kept: Journal, outbox: Outbox) -> None:
    """It rang by the graver sign for the lesser; both are in hand by the end of the turn."""
    kept.commit(turn(0, page("m1"), step("acknowledged", condition="cold"), "tank-3/warm"))
    assert ids(outbox) == []


def test_one_message_is_claimed_once_by_many_workers(kept: Journal, outbox: Outbox) -> None:
    """Workers may share the outbox; each message goes to exactly one of them."""
    kept.commit(turn(0, *(page(f"m{n}") for n in range(20))))
    won: list[str] = []

    def work() -> None:
        won.extend(f"m{n}" for n in range(20) if outbox.claim(f"m{n}", LATER))

    workers = [Thread(target=work) for _ in range(4)]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join()
    assert sorted(won) == sorted(f"m{n}" for n in range(20))
