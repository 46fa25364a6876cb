"""What a sender may send: far above a brewery's need, and no sender fills the journal."""

from __future__ import annotations

from kuraban.core.facts import Logged, Reading, Refusal
from kuraban.core.intake.allowance import Allowance, Buckets
from kuraban.core.intake.entry_parser import entry_from
from kuraban.core.units import DAY, HOUR, MINUTE
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


def test_a_bucket_says_when_there_is_one_in_it_again() -> None:
    bucket = Buckets(10, 2.0)
    assert bucket.next("new", 7.0) == 7.0
    assert bucket.take("a", 9, 0.0) == 9 and bucket.next("a", 0.0) == 0.0, "one is left"
    assert bucket.take("a", 1, 0.0) == 1 and bucket.next("a", 0.0) == 0.5
    assert bucket.take("a", 1, -5.0) == 0, "time that goes back fills nothing"


def test_what_was_missed_is_on_top_once() -> None:
    bucket = Buckets(10, 1.0, more=5.0)
    assert bucket.take("a", 99, 0.0) == 15
    assert bucket.take("a", 99, 1000.0) == 10


def test_a_probe_at_its_share_can_send_two_a_second() -> None:
    limits = Allowance()
    limits.admit(readings(50_000), TOPIC, DUSK)
    assert limits.dry_until("t3-mid", DUSK) == DUSK + 0.5
    assert limits.dry_until("other", DUSK) == DUSK
    assert limits.admit(readings(2, DUSK + 1), TOPIC, DUSK + 1) == readings(2, DUSK + 1)
    assert limits.admit(readings(1, DUSK + 2), TOPIC, DUSK + 2) == readings(1, DUSK + 2)


def test_after_a_day_a_topic_may_bring_five_hundred_entries_more() -> None:
    house, limits = brewery(), Allowance()

    def taken(at: float, topic: str, count: int) -> int:
        """How many of so many stirs were taken then."""
        told = [
            entry_from({"entry": "stir", "id": f"{at}-{n}"}, "tank-3", house, at, "broker")
            for n in range(count)
        ]
        found = [fact for one in told for fact in limits.admit([one], topic, at)]
        return sum(isinstance(fact, Logged) for fact in found)

    assert taken(DUSK, "a", 501) == 500
    assert taken(DUSK + DAY / 2, "a", 300) == 250
    assert taken(DUSK + 2 * DAY, "a", 501) == 500


def test_all_topics_together_bring_two_thousand_entries() -> None:
    house, limits = brewery(), Allowance()

    def taken(at: float) -> int:
        """Of 450 stirs on each of ten topics."""
        stir = entry_from({"entry": "stir", "id": "s"}, "tank-3", house, at, "broker")
        found = [limits.admit([stir], f"kura/log/{n % 10}", at) for n in range(4500)]
        return sum(isinstance(fact, Logged) for facts in found for fact in facts)

    assert taken(DUSK) == 2000
    assert taken(DUSK + DAY / 2) == 1000, "and as many a day later"


def test_a_refusal_by_itself_is_told_as_it_is() -> None:
    (one,) = Allowance().refuse(refusal(), DUSK)
    assert one == refusal()


def test_what_was_held_back_is_told_later_with_its_count() -> None:
    """By itself where nothing like it comes any more, and once."""
    limits = Allowance()
    assert limits.overdue(DUSK) == []
    for _ in range(103):
        limits.refuse(refusal(), DUSK)
    assert limits.overdue(DUSK + 59) == []
    (late,) = limits.overdue(DUSK + MINUTE)
    assert (late.count, late.at) == (3, DUSK + MINUTE) and "and 2 more since" in late.reason
    assert limits.overdue(DUSK + 2 * MINUTE) == []


def test_six_hundred_error_codes_at_once_and_one_a_second() -> None:
    limits = Allowance()
    told = [limits.refuse(refusal(wild=True), DUSK) for _ in range(700)]
    assert sum(map(bool, told)) == 600
    (one,) = limits.refuse(refusal(DUSK + 1, wild=True), DUSK + 1)
    assert one.count == 101


def test_two_thousand_refusals_in_all_and_twenty_thousand_a_day() -> None:
    limits = Allowance()

    def taken(at: float) -> int:
        """Of a hundred refusals of each of thirty probes."""
        named = [Refusal(TOPIC, at, "is no number", "x", f"p{n % 30}") for n in range(3000)]
        return sum(bool(limits.refuse(one, at)) for one in named)

    assert taken(DUSK) == 2000
    assert 830 <= taken(DUSK + HOUR) <= 834


def test_of_readings_beyond_the_share_of_one_probe_anothers_are_taken() -> None:
    limits = Allowance()
    limits.admit(readings(50_000), TOPIC, DUSK)
    both = [*readings(3), Reading("t4-mid", DUSK, 10.0, DUSK)]
    taken = limits.admit(both, TOPIC, DUSK)
    assert [fact.probe for fact in taken if isinstance(fact, Reading)] == ["t4-mid"]
    assert [fact.count for fact in taken if isinstance(fact, Refusal)] == [3]
