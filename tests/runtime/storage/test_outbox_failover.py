from __future__ import annotations

import math
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from kuraban.clock import Clock, elapsed
from kuraban.core.effects import Message
from kuraban.runtime.storage.outbox_failover import FailoverOutbox
from kuraban.store.history import History
from kuraban.store.journal import Journal
from kuraban.store.outbox import Outbox
from tests.outboxes import COLD, WARM, OutboxContract
from tests.store.nights import page, step, turn

NOW = math.inf


@pytest.fixture
def journal(tmp_path: Path) -> Iterator[Journal]:
    journal = Journal.open(tmp_path / "kuraban.journal")
    yield journal
    journal.close()


@pytest.fixture
def rows(journal: Journal) -> Iterator[FailoverOutbox]:
    rows = FailoverOutbox(Outbox(journal.path), ["aki"], Clock())
    yield rows
    rows.close()


@pytest.fixture
def plain(journal: Journal) -> Iterator[FailoverOutbox]:
    """The courier's time is the watch's own."""
    rows = FailoverOutbox(Outbox(journal.path), ["aki"], Clock(1.0, 0.0, 0.0))
    yield rows
    rows.close()


def full(rows: FailoverOutbox, is_full: bool = True) -> None:
    """The courier's connection may not write any more, or again."""
    rows._kept._db.execute(f"PRAGMA query_only = {'ON' if is_full else 'OFF'}")


def ids(rows: FailoverOutbox) -> list[str]:
    return [row.id for row in rows.waiting("aki", NOW)]


def send(rows: FailoverOutbox, message_id: str) -> None:
    now = time.time()
    assert rows.claim(message_id, now) is not None
    rows.tried(message_id, "aki's 1st address", now, sent=True)
    rows.sent(message_id, now)


def messages(count: int) -> list[Message]:
    return [page(f"m{number}") for number in range(count)]


def outcome(path: Path) -> tuple[int, int]:
    """How many messages still wait, and how many went out."""
    history = History(path)
    done = history._one("SELECT count(*) FROM outbox_done WHERE outcome = 'sent'")[0]
    unsent = history.unsent()
    history.close()
    return unsent, int(done)


def test_pages_go_out_though_nothing_can_be_written(journal: Journal, rows: FailoverOutbox) -> None:
    """Those that waited and those that are new; and once it is healed none goes again."""
    waited, new, late = messages(3)
    journal.commit(turn(0, waited))
    assert ids(rows) == ["m0"]
    full(rows)
    rows.fail()
    rows.put(new)
    rows.put(late)
    assert ids(rows) == ["m0", "m1", "m2"]
    send(rows, "m0")
    send(rows, "m1")
    assert ids(rows) == ["m2"]
    full(rows, False)
    journal.commit(turn(1, new, late))
    rows.heal()
    assert ids(rows) == ["m2"]
    assert outcome(journal.path) == (1, 2)
    send(rows, "m2")
    assert outcome(journal.path) == (0, 3)


def test_a_page_on_its_way_at_either_turn_arrives_once(
    journal: Journal, rows: FailoverOutbox
) -> None:
    """Claimed before the disk was full, or sent while it is freed: each is finished, not begun."""
    before, within = messages(2)
    journal.commit(turn(0, before))
    now = time.time()
    assert rows.claim("m0", now) is not None
    full(rows)
    rows.fail()
    rows.put(within)
    assert ids(rows) == ["m1"]
    assert rows.claim("m1", now) is not None
    full(rows, False)
    journal.commit(turn(1, within))
    rows.heal()
    assert ids(rows) == []
    for message_id in ("m0", "m1"):
        rows.sent(message_id, time.time())
    assert outcome(journal.path) == (0, 2)


def test_a_page_that_failed_just_then_is_tried_again_from_memory(
    journal: Journal, rows: FailoverOutbox
) -> None:
    """Its next try does not wait for the disk."""
    journal.commit(turn(0, *messages(1)))
    assert rows.claim("m0", time.time()) is not None
    full(rows)
    rows.fail()
    rows.failed("m0", time.time(), "no answer", time.time())
    assert ids(rows) == ["m0"]
    send(rows, "m0")
    full(rows, False)
    rows.heal()
    assert outcome(journal.path) == (0, 1)


class Well:
    """The journal can be written: turns fill it."""

    def __init__(self, journal: Journal, rows: FailoverOutbox) -> None:
        self.rows, self._journal, self._turns = rows, journal, 0

    def put(self, *messages: Message) -> None:
        self._commit(*messages)

    def withdraw(self, *alarms: str) -> None:
        self._commit(*alarms)

    def _commit(self, *what: Message | str) -> None:
        self._journal.commit(turn(self._turns, *what))
        self._turns += 1


class Ill:
    """It cannot: the watch tells what its turns would have."""

    def __init__(self, rows: FailoverOutbox) -> None:
        self.rows = rows
        full(rows)
        rows.fail()

    def put(self, *messages: Message) -> None:
        for message in messages:
            self.rows.put(message)

    def withdraw(self, *alarms: str) -> None:
        for alarm in alarms:
            self.rows.withdraw(alarm)


class TestWell(OutboxContract):
    @pytest.fixture
    def box(self, journal: Journal, plain: FailoverOutbox) -> Well:
        return Well(journal, plain)


class TestWhileTheJournalFails(OutboxContract):
    @pytest.fixture
    def box(self, plain: FailoverOutbox) -> Ill:
        return Ill(plain)


def test_a_gathered_page_half_in_hand_before_goes_when_the_rest_is(
    journal: Journal, rows: FailoverOutbox
) -> None:
    """One of its alarms was taken in hand in the journal, the other while that failed."""
    journal.commit(turn(0, page("m0", WARM, COLD)))
    journal.commit(turn(1, WARM))
    box = Ill(rows)
    assert ids(rows) == ["m0"]
    box.withdraw(COLD)
    assert ids(rows) == []


def test_a_page_on_its_way_when_the_journal_failed_has_no_second_try_once_in_hand(
    journal: Journal, rows: FailoverOutbox
) -> None:
    """And it is put away when the journal is well: else it stood as unsent until the next start."""
    journal.commit(turn(0, *messages(1)))
    assert rows.claim("m0", time.time()) is not None
    box = Ill(rows)
    box.withdraw(WARM)
    rows.failed("m0", time.time(), "no answer", time.time())
    assert ids(rows) == []
    full(rows, False)
    journal.commit(turn(1, WARM))
    rows.heal()
    assert ids(rows) == [] and rows.next_due("aki") is None
    assert outcome(journal.path) == (0, 0)
    assert rows._lies == {} and rows._claimed == {}


def test_a_page_in_hand_as_it_was_being_sent_has_no_second_try_from_memory(
    journal: Journal, rows: FailoverOutbox
) -> None:
    """The journal knew, and then it failed."""
    journal.commit(turn(0, *messages(1)))
    assert rows.claim("m0", time.time()) is not None
    journal.commit(turn(1, WARM))
    full(rows)
    rows.fail()
    rows.failed("m0", time.time(), "no answer", time.time())
    assert ids(rows) == []


def test_a_page_that_waited_for_its_next_try_from_memory_is_put_away_once_in_hand(
    journal: Journal, rows: FailoverOutbox
) -> None:
    """It failed before anybody answered: the journal has it as on its way until it is well."""
    journal.commit(turn(0, *messages(1)))
    assert rows.claim("m0", time.time()) is not None
    box = Ill(rows)
    rows.failed("m0", time.time(), "no answer", time.time())
    box.withdraw(WARM)
    full(rows, False)
    journal.commit(turn(1, WARM))
    rows.heal()
    assert ids(rows) == [] and outcome(journal.path) == (0, 0)
    assert rows._lies == {} and rows._claimed == {}


def test_a_service_that_had_a_page_is_not_given_it_again_from_memory(
    journal: Journal, rows: FailoverOutbox
) -> None:
    """A crash came between the two services of a person, and then the disk was full."""
    journal.commit(turn(0, *messages(1)))
    assert rows.claim("m0", time.time()) is not None
    rows.tried("m0", "aki's 1st address", time.time(), sent=True)
    again = FailoverOutbox(Outbox(journal.path), ["aki"], Clock())
    assert again.recover(time.time()) == 1
    Ill(again)
    (row,) = again.waiting("aki", NOW)
    assert (row.had, row.doubtful) == (frozenset({"aki's 1st address"}), True)
    again.close()


def test_what_went_out_before_the_journal_was_well_again_is_not_kept_in_memory(
    journal: Journal, rows: FailoverOutbox
) -> None:
    """Nor what was taken in hand meanwhile: nothing of it is left to be carried over."""
    journal.commit(turn(0, *messages(2)))
    assert rows.claim("m0", time.time()) is not None
    box = Ill(rows)
    box.put(page("m2", COLD))
    box.withdraw(COLD)
    full(rows, False)
    rows.sent("m0", time.time())
    send(rows, "m1")
    journal.commit(turn(1, page("m2", COLD), step("raised", 1, "cold", "bed-1"), COLD))
    rows.heal()
    assert len(rows._spare) == 0 and rows._lies == {} and rows._claimed == {}


def test_what_somebody_took_in_hand_is_not_sent_from_memory(rows: FailoverOutbox) -> None:
    rows.fail()
    (message,) = messages(1)
    rows.put(message)
    rows.withdraw(message.alarms[0])
    assert ids(rows) == []


def test_the_courier_lives_in_real_time(journal: Journal) -> None:
    """A row that is due in ten minutes of a night a hundred times as fast is due in six seconds."""
    began = elapsed()
    fast = FailoverOutbox(Outbox(journal.path), ["aki"], Clock(100.0, page("m0").at - 600, began))
    journal.commit(turn(0, *messages(1)))
    assert abs((fast.next_due("aki") or 0.0) - (began + 6)) < 0.01
    assert fast.waiting("aki", began + 5.9) == []
    assert [row.id for row in fast.waiting("aki", began + 6.1)] == ["m0"]
    fast.close()
