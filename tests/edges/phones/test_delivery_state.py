from __future__ import annotations

import pytest

from kuraban.core.facts import Delivered
from kuraban.edges.phones.delivery_state import LONGEST, STUCK, DeliveryState, Service, rest
from kuraban.edges.phones.fallback_outbox import MemoryOutbox
from kuraban.errors import JournalError
from kuraban.store.outbox import Row
from tests.edges.messages import AT, message


class Failing(MemoryOutbox):
    """An outbox whose disk can be full."""

    full = False

    def sent(self, row_id: str, now: float) -> None:
        if self.full:
            raise JournalError("disk full")
        super().sent(row_id, now)


class ByAnotherClock(MemoryOutbox):
    """As the watch's own: rows are due by the house's time, the courier goes by elapsed time."""

    def waiting(self, person: str, now: float) -> list[Row]:
        return super().waiting(person, now + AT)


class Bench:
    """One person's desk with two services, and its results."""

    def __init__(self) -> None:
        self.rows = Failing()
        self.told: list[Delivered] = []
        self.first, self.second = Service("aki's 1st address"), Service("aki's 2nd address")
        both = (self.first, self.second)
        self.delivery_state = DeliveryState("aki", self.rows, both, both, self.told.append, tries=3)

    def sent(self) -> list[bool]:
        return [fact.sent for fact in self.told]


@pytest.fixture
def bench() -> Bench:
    return Bench()


def test_every_service_is_given_a_page_once(bench: Bench) -> None:
    """Phone and pager both ring; then the row is done, and told of once."""
    bench.rows.put(message("a"))
    for service in (bench.first, bench.second):
        row = bench.delivery_state.pick(service, AT)
        assert row is not None
        assert bench.told == []
        bench.delivery_state.settle(service, row.id, "", AT)
    assert bench.delivery_state.pick(bench.first, AT) is None
    assert bench.sent() == [True]
    assert len(bench.rows) == 0


def test_a_hung_service_holds_up_no_row_for_long(bench: Bench) -> None:
    """After twenty seconds the row is done without it, and its late answer hurts nothing."""
    bench.rows.put(message("a"))
    bench.delivery_state.pick(bench.second, AT)
    bench.delivery_state.pick(bench.first, AT)
    bench.delivery_state.settle(bench.first, "a", "", AT)
    bench.delivery_state.sweep(AT + STUCK)
    assert bench.told == []
    bench.delivery_state.sweep(AT + STUCK + 1)
    assert bench.sent() == [True]
    bench.delivery_state.settle(bench.second, "a", "", AT + 60)
    assert bench.sent() == [True]


def test_a_phone_that_rests_is_not_looked_after_five_times_a_second(bench: Bench) -> None:
    """What it failed with waits for it, and the journal's disk is left alone meanwhile."""
    delivery_state, aki = bench.delivery_state, bench.first
    bench.rows.put(message("a"))
    for failure in range(3):
        now = AT + failure * LONGEST
        for service in (bench.first, bench.second):
            row = delivery_state.pick(service, now)
            assert row is not None
            delivery_state.settle(service, row.id, "no", now)
    later = aki.failed_at + 2 * 1.25
    bench.rows.put(message("b", at=later))
    assert delivery_state.pick(aki, later) is not None
    delivery_state.settle(aki, "b", "no", later)
    after = later + 3
    assert delivery_state.pick(aki, after) is None
    assert delivery_state.pause(aki, after) == pytest.approx(min(aki.rest_until - after, 30.0))


def test_all_services_hung_is_told(bench: Bench) -> None:
    """Nobody reached and nobody answering counts as failed, long before they answer."""
    bench.rows.put(message("a"))
    bench.delivery_state.pick(bench.first, AT)
    bench.delivery_state.pick(bench.second, AT)
    bench.delivery_state.sweep(AT + STUCK + 1)
    bench.delivery_state.sweep(AT + STUCK + 2)
    assert bench.sent() == [False]


def test_what_waits_behind_a_hung_phone_is_told_of_too(bench: Bench) -> None:
    """Somebody else is rung at once: its own turn may come in an hour, or never. Told once."""
    bench.rows.put(message("a"))
    bench.delivery_state.pick(bench.first, AT)
    bench.delivery_state.pick(bench.second, AT)
    bench.delivery_state.sweep(AT + STUCK + 1)
    bench.rows.put(message("b", at=AT + 60))
    for seconds in (60, 61):
        bench.delivery_state.sweep(AT + seconds)
    assert [(fact.row, fact.sent) for fact in bench.told] == [("a", False), ("b", False)]


def test_what_failed_once_is_told_of_when_another_shows_that_a_phone_is_dead(bench: Bench) -> None:
    """The older one has each further try; who is next must not wait for the younger one's."""
    phone, told = bench.first, list[Delivered]()
    state = DeliveryState("aki", bench.rows, (phone,), (phone,), told.append, tries=3)
    for name, now in (("a", AT), ("b", AT + 2), ("a", AT + 8)):
        if now < AT + 8:
            bench.rows.put(message(name, at=now))
        row = state.pick(phone, now)
        assert row is not None and row.id == name
        state.settle(phone, name, "the service answered no", now)
    assert [(fact.row, fact.sent) for fact in told] == [("a", False)]
    for seconds in (8, 9):
        state.sweep(AT + seconds)
    assert [(fact.row, fact.sent) for fact in told] == [("a", False), ("b", False)]


def test_who_has_no_address_is_told_of_by_whatever_clock_the_journal_goes() -> None:
    rows, told = ByAnotherClock(), list[Delivered]()
    rows.put(message("a"))
    DeliveryState("aki", rows, (), (), told.append, tries=3).sweep(1000.0)
    assert [(fact.sent, fact.reason) for fact in told] == [(False, "aki has no address")]


def test_failure_is_told_once_and_trying_goes_on(bench: Bench) -> None:
    """Three failures of every service: told once; a later success is told too."""
    bench.rows.put(message("a"))
    now = AT
    for count in range(5):
        assert bench.sent() == ([] if count < 3 else [False])
        for service in (bench.first, bench.second):
            assert bench.delivery_state.pick(service, now) is not None
            bench.delivery_state.settle(service, "a", "the service answered no", now)
        assert bench.delivery_state.pick(bench.first, now) is None
        now += rest(count + 1, "a") + 0.01
    assert bench.told[0].reason == "aki's 2nd address: the service answered no"
    bench.delivery_state.pick(bench.first, now)
    bench.delivery_state.settle(bench.first, "a", "", now)
    bench.delivery_state.pick(bench.second, now)
    bench.delivery_state.settle(bench.second, "a", "no", now)
    assert bench.sent() == [False, True]


def test_a_resting_service_is_disturbed_by_a_new_page_only(bench: Bench) -> None:
    """A service far into its rest is still tried for somebody who is to be woken now."""
    bench.rows.put(message("old"))
    now = AT
    for count in range(6):
        bench.delivery_state.pick(bench.first, now)
        bench.delivery_state.settle(bench.first, "old", "no", now)
        bench.delivery_state.pick(bench.second, now)
        bench.delivery_state.settle(bench.second, "old", "no", now)
        now += rest(count + 1, "old") + 0.01
    now = bench.first.failed_at
    bench.rows.put(message("report", step="notice"))
    assert bench.delivery_state.pick(bench.first, now + 3) is None
    bench.rows.put(message("new"))
    assert bench.delivery_state.pick(bench.first, now + 1) is None
    row = bench.delivery_state.pick(bench.first, now + 3)
    assert row is not None
    assert row.id == "new"
    bench.delivery_state.settle(bench.first, "new", "", now + 3)
    again = bench.delivery_state.pick(bench.first, now + 3)
    assert again is not None
    assert again.id == "old"


def test_what_was_withdrawn_is_forgotten(bench: Bench) -> None:
    """Nights of dead phones leave nothing behind once somebody has the alarms in hand."""
    for number in range(50):
        bench.rows.put(message(str(number)))
        now = AT + 3600 * number
        for _ in range(3):
            for service in (bench.first, bench.second):
                bench.delivery_state.pick(service, now)
                bench.delivery_state.settle(service, str(number), "the service answered no", now)
            now += 400
        bench.rows.withdraw("tank-3/warm")
        bench.delivery_state.sweep(now)
    assert len(bench.rows) == 0 and len(bench.told) == 50
    assert not bench.delivery_state._failures and not bench.delivery_state._told


def test_what_waits_for_its_next_try_is_remembered(bench: Bench) -> None:
    """How often it failed counts on, and it is not told twice that it did."""
    bench.rows.put(message("a"))
    now = AT
    for count in range(5):
        for service in (bench.first, bench.second):
            bench.delivery_state.pick(service, now)
            bench.delivery_state.settle(service, "a", "the service answered no", now)
        bench.delivery_state.sweep(now + 0.5)
        now += rest(count + 1, "a") + 0.01
    assert bench.sent() == [False]


def test_a_row_that_all_had_before_a_crash_is_done(bench: Bench) -> None:
    """Taken by every service, not yet put away: put away at the next look, and nobody rings."""
    bench.rows.put(message("a"))
    for service in (bench.first, bench.second):
        bench.rows.tried("a", service.name, AT, sent=True)
    assert bench.delivery_state.pick(bench.first, AT) is None
    bench.delivery_state.sweep(AT)
    assert bench.sent() == [True]


def test_a_full_disk_sends_nothing_twice(bench: Bench) -> None:
    """What could not be written down is written later, without ringing again."""
    bench.rows.full = True
    bench.rows.put(message("a"))
    for service in (bench.first, bench.second):
        bench.delivery_state.pick(service, AT)
        bench.delivery_state.settle(service, "a", "", AT)
    assert bench.delivery_state.pick(bench.first, AT + 1) is None
    assert bench.told == []
    bench.rows.full = False
    bench.delivery_state.sweep(AT + 2)
    assert bench.sent() == [True]


def test_at_the_end_what_was_not_begun_waits_without_doubt(bench: Bench) -> None:
    """A row that only waited for a busy service goes back; one in flight stays claimed."""
    bench.rows.put(message("a"))
    bench.rows.put(message("b"))
    bench.delivery_state.pick(bench.first, AT)
    bench.delivery_state.settle(bench.first, "a", "no", AT)
    bench.delivery_state.pick(bench.second, AT)
    bench.delivery_state.settle(bench.second, "a", "no", AT)
    bench.delivery_state.pick(bench.second, AT + 2.5)
    bench.delivery_state.give_back(AT + 3)
    assert bench.rows.recover(AT + 3) == 1


def test_rest_grows_and_is_the_same_for_the_same_row() -> None:
    """2 s doubling to 5 min, a quarter more or less by the row's id, never by chance."""
    rests = [rest(count, "a") for count in range(1, 12)]
    assert rests == [rest(count, "a") for count in range(1, 12)]
    assert rests == sorted(rests)
    assert 1.5 <= rests[0] <= 2.5
    assert max(rests) <= LONGEST
    assert len({rest(1, str(number)) for number in range(20)}) > 10
