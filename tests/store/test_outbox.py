from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from pathlib import Path
from threading import Thread

import pytest

from kuraban.core.effects import Message, Step
from kuraban.core.facts import Delivered
from kuraban.errors import JournalError
from kuraban.store.journal import Journal
from kuraban.store.outbox import Outbox
from tests.store.nights import EVENING, notice, page, step, turn

LATER = EVENING + 3600


@pytest.fixture
def outbox(kept: Journal, path: Path) -> Iterator[Outbox]:
    outbox = Outbox(path)
    yield outbox
    outbox.close()


def ids(outbox: Outbox, person: str = "aki", now: float = LATER) -> list[str]:
    return [row.id for row in outbox.waiting(person, now)]


def test_no_outbox_without_a_journal(path: Path) -> None:
    """The courier begins no journal of its own."""
    with pytest.raises(JournalError, match="cannot open the outbox"):
        Outbox(path)
    assert not path.exists()


def test_every_message_waits_for_its_person(kept: Journal, outbox: Outbox) -> None:
    """Pages wait before notices, each in the order made, and nobody sees another's."""
    kept.commit(turn(0, notice("m1"), page("m2"), page("m3"), page("m4", person="ken")))
    assert ids(outbox) == ["m2", "m3", "m1"]
    assert ids(outbox, "ken") == ["m4"]
    assert ids(outbox, now=EVENING - 1) == []
    assert outbox.waiting("aki", LATER)[0].message == page("m2")


def test_two_couriers_never_hold_the_same_message(kept: Journal, outbox: Outbox) -> None:
    """Whoever claims first has it; done or unknown rows cannot be claimed."""
    kept.commit(turn(0, page("m1")))
    row = outbox.claim("m1", LATER)
    assert row is not None
    assert (row.tries, row.doubtful, row.had) == (1, False, frozenset())
    assert outbox.claim("m1", LATER) is None
    assert ids(outbox) == []
    outbox.sent("m1", LATER)
    assert outbox.claim("m1", LATER) is None
    assert outbox.claim("m9", LATER) is None


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


def test_after_a_crash_a_claimed_message_is_doubtful(kept: Journal, outbox: Outbox) -> None:
    """It goes once more with the same id and may have arrived; what only waited is as it was."""
    kept.commit(turn(0, page("m1"), page("m2")))
    outbox.claim("m1", LATER)
    outbox.tried("m1", "0", LATER, sent=True)
    assert outbox.recover(LATER + 60) == 1
    rows = {row.id: row for row in outbox.waiting("aki", LATER + 60)}
    assert (rows["m1"].doubtful, rows["m1"].had) == (True, frozenset({"0"}))
    assert not rows["m2"].doubtful
    assert outbox.recover(LATER + 60) == 0
    outbox.claim("m1", LATER + 61)
    outbox.failed("m1", LATER + 62, "timed out", LATER + 90)
    assert outbox.waiting("aki", LATER + 90)[0].doubtful


def test_an_alarm_in_hand_pages_nobody_further(kept: Journal, outbox: Outbox) -> None:
    """Pages that still wait are withdrawn, the word about who has it goes on."""
    kept.commit(turn(0, step("raised"), page("m1"), page("m2", person="ken")))
    kept.commit(turn(1, step("acknowledged", 1), notice("m3"), withdrawn=("tank-3/warm",)))
    assert ids(outbox) == ["m3"]
    assert ids(outbox, "ken") == []
    assert outbox.unreported(LATER) == ()


def test_a_page_of_two_alarms_waits_for_both(kept: Journal, outbox: Outbox) -> None:
    """While one of its alarms is in nobody's hand the message is still wanted."""
    kept.commit(turn(0, page("m1", "tank-3/warm", "tank-4/warm")))
    kept.commit(turn(1, withdrawn=("tank-3/warm",)))
    assert ids(outbox) == ["m1"]
    kept.commit(turn(2, withdrawn=("tank-4/warm",)))
    assert ids(outbox) == []


def test_a_page_on_its_way_is_not_tried_again(kept: Journal, outbox: Outbox) -> None:
    """Claimed when the alarm was taken in hand, it may arrive, but has no second try."""
    kept.commit(turn(0, page("m1"), page("m2"), page("m3")))
    for row in ("m1", "m2", "m3"):
        outbox.claim(row, LATER)
    kept.commit(turn(1, withdrawn=("tank-3/warm",)))
    outbox.sent("m1", LATER)
    outbox.failed("m2", LATER, "timed out", LATER + 30)
    assert outbox.recover(LATER) == 1
    assert ids(outbox, now=LATER + 60) == []
    assert [result.row for result in outbox.unreported(LATER)] == ["m1"]


def test_a_page_made_after_the_alarm_was_in_hand_goes_out(kept: Journal, outbox: Outbox) -> None:
    """Within one turn, too, the order counts: acknowledged first and rung again later rings."""
    story: list[Step | Message] = [
        step("raised"),
        page("m1"),
        step("acknowledged"),
        step("realarmed"),
        page("m2"),
    ]
    kept.commit(turn(0, *story, withdrawn=("tank-3/warm",)))
    assert ids(outbox) == ["m2"]


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
