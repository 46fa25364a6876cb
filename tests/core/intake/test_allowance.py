"""What a sender may send: far above a brewery's need, and no sender fills the journal."""

from __future__ import annotations

from kuraban.core.facts import Logged, Reading, Refusal
from kuraban.core.intake.allowance import Allowance, Buckets
from kuraban.core.intake.entry_parser import entry_from
from kuraban.core.units import DAY, MINUTE
from tests.core.house import DUSK, brewery

TOPIC = "kura/reading/t3-mid"


def readings(count: int, at: float = DUSK) -> list[Reading | Refusal | Logged]:
    return [Reading("t3-mid", at - count + n, 10.0, at) for n in range(count)]


def refusal(at: float = DUSK, *, wild: bool = False) -> Refusal:
    return Refusal(TOPIC, at, "is no number", "x", "t3-mid", wild=wild)


def test_a_bucket_gives_what_it_holds_and_fills_again_by_the_second() -> None:
    bucket = Buckets(10, 2.0)
    assert bucket.take("a", 25, 0.0) == 10
    assert bucket.take("a", 1, 0.0) == 0 and bucket.next("a", 0.0) == 0.5
    assert bucket.take("a", 99, 3.0) == 6
    assert bucket.take("a", 99, 1000.0) == 10, "never more than it holds"
    assert bucket.take("b", 4, 0.0) == 4, "each has a bucket of its own"


def test_five_weeks_of_a_probe_that_comes_back_are_taken_whole() -> None:
    found = readings(50_000)
    assert Allowance().admit(found, TOPIC, DUSK) == found


def test_a_probe_beyond_its_share_keeps_its_newest_and_is_told_so_once() -> None:
    limits = Allowance()
    taken = limits.admit(readings(50_010), TOPIC, DUSK)
    kept = [fact for fact in taken if isinstance(fact, Reading)]
    (told,) = [fact for fact in taken if isinstance(fact, Refusal)]
    assert len(kept) == 50_000 and min(fact.at for fact in kept) == DUSK - 50_000
    assert told.count == 10 and "2 a second" in told.reason
    assert limits.admit(readings(5), TOPIC, DUSK) == [], "counted, and told with the next word"
    (later,) = limits.overdue(DUSK + MINUTE)
    assert later.count == 5


def test_after_a_time_in_which_nobody_watched_more_may_wait() -> None:
    found = readings(60_000)
    assert Allowance(away=2 * DAY).admit(found, TOPIC, DUSK) == found


def test_refusals_are_a_hundred_at_once_and_then_one_a_minute_with_their_count() -> None:
    limits = Allowance()
    told = [limits.refuse(refusal(), DUSK) for _ in range(150)]
    assert sum(map(bool, told)) == 100
    (one,) = limits.refuse(refusal(DUSK + MINUTE), DUSK + MINUTE)
    assert one.count == 51 and "50 more" in one.reason


def test_bus_error_codes_have_a_share_of_their_own() -> None:
    """`wild` counts them, and a broken probe sends one a second."""
    limits = Allowance()
    assert all(limits.refuse(refusal(wild=True), DUSK + n) for n in range(2000))


def test_entries_are_bounded_by_topic_and_in_all() -> None:
    house, limits = brewery(), Allowance()
    told = ({"entry": "stir", "id": str(n)} for n in range(501))
    stirs = [entry_from(fields, "tank-3", house, DUSK, "broker") for fields in told]
    taken = [fact for one in stirs for fact in limits.admit([one], "kura/log/tank-3", DUSK)]
    assert sum(isinstance(fact, Logged) for fact in taken) == 500
    assert [fact.head for fact in taken if isinstance(fact, Refusal)] == ["500"]
