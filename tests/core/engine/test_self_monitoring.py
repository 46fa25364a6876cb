"""What fails of the watch itself, and when it is told."""

from __future__ import annotations

import pytest

from kuraban.core.alarm_conditions import CONDITIONS
from kuraban.core.detectors.silent import Silent
from kuraban.core.detectors.unwatched import Unwatched
from kuraban.core.engine.explaining import explain
from kuraban.core.facts import Impaired
from kuraban.core.planned_curve import FAR_FUTURE
from kuraban.core.site import WATCH
from kuraban.core.units import DAY, MINUTE, show_time
from kuraban.core.views.explanation import Judged
from tests.core.house import Night, mashing, moment


def test_a_lost_broker_is_told_after_two_minutes() -> None:
    night = mashing(at=moment("2026-02-02T02:00"))
    night.take(Impaired("broker", True, night.now, "connection refused"))
    night.run(1.9)
    assert not night.steps()
    night.run(0.1)
    assert night.steps("watch/broker-lost") == ["raised"]
    assert [page.person for page in night.pages()] == ["ken"]
    night.take(Impaired("broker", False, night.now))
    night.run(1.9)
    assert night.steps("watch/broker-lost") == ["raised"]
    night.run(0.1)
    assert night.steps("watch/broker-lost")[-1] == "returned"


def test_a_broker_that_comes_and_goes_rings_once() -> None:
    night = mashing(at=moment("2026-02-02T02:00"))
    for _ in range(8):
        night.take(Impaired("broker", True, night.now, "connection refused"))
        night.run(3)
        night.take(Impaired("broker", False, night.now))
        night.run(1.5)
    assert night.steps("watch/broker-lost") == ["raised"]


def test_a_broker_that_is_back_in_time_is_no_event() -> None:
    night = mashing()
    night.take(Impaired("broker", True, night.now))
    night.run(1)
    night.take(Impaired("broker", False, night.now))
    night.run(10)
    assert not night.steps()


@pytest.mark.parametrize(
    ("part", "condition"),
    [("journal", "journal-failing"), ("pages", "pages-failing"), ("history", "history-behind")],
)
def test_what_fails_of_the_watch_is_told(part: str, condition: str) -> None:
    night = mashing()
    for _ in range(2):
        night.take(Impaired(part, True, night.now))  # type: ignore[arg-type]
        night.run(1)
    assert night.steps(f"watch/{condition}") == ["raised"]


def test_a_watch_that_was_away_twice_in_one_gap_says_since_the_first() -> None:
    """It was asked to end while it still lived through the time that it had been away."""
    night = mashing()
    began = night.now
    night.take(Impaired("watch", True, night.now))
    night.run(60)
    night.take(Impaired("watch", True, night.now))
    night.run(60)
    night.take(Impaired("watch", False, night.now))
    night.run(6)
    (told,) = {message.title for message in night.messages("notice") if "aki" in message.person}
    assert show_time(began, night.house.zone)[11:16] in told


def test_a_month_without_anybody_watching_is_no_work_for_what_listens() -> None:
    """Silence means nothing then: probes and places are looked at once somebody is back."""
    night = mashing()
    night.take(Impaired("watch", True, night.now))
    back = night.now + 30 * DAY
    night.wake(back)
    listening = night.engine.registry.detectors.values()
    assert FAR_FUTURE in {one.due for one in listening if isinstance(one, Silent)}
    assert FAR_FUTURE in {one.due for one in listening if isinstance(one, Unwatched)}
    night.take(Impaired("watch", False, back))
    night.wake(back + 6 * MINUTE)
    assert night.steps("t3-mid/silent") == ["raised"]
    assert night.steps("tank-3/unwatched") == ["raised"]


def asked(night: Night, condition: str) -> Judged:
    told = explain(night.engine, WATCH).judged
    return next(one for one in told if one.account.condition == condition)


def test_asked_why_it_says_of_each_part_what_it_saw_and_what_it_would_take() -> None:
    night = mashing(at=moment("2026-02-02T02:00"))
    keys = lambda because: [one.key for one in because]  # noqa: E731
    assert keys(asked(night, "broker-lost").account.lacks) == ["part-works"]
    began = night.now
    night.take(Impaired("broker", True, night.now, "connection refused"))
    night.run(1)
    waits = asked(night, "broker-lost")
    assert waits.hand == "waits" and keys(waits.account.seen) == ["part-fails"]
    assert waits.account.delay is not None and waits.account.delay.due == began + 2 * MINUTE
    night.run(1)
    rings = asked(night, "broker-lost")
    assert rings.hand == "rings" and keys(rings.account.ends) == ["over-well"]
    night.take(Impaired("broker", False, night.now))
    night.run(1)
    (over,) = asked(night, "broker-lost").account.ends
    assert over.since == night.now - MINUTE and over.wanted == 2 * MINUTE
    assert {one.account.condition for one in explain(night.engine, WATCH).judged} == {
        condition.name for condition in CONDITIONS.values() if condition.owner == "watch"
    }


def test_three_days_without_a_watch_are_one_ring_a_person_of_what_nobody_answered() -> None:
    """Nobody could send what the hours in between would have said: seventy of them at once wake no
    better than one."""
    night = mashing(at=moment("2026-02-02T02:00"))
    night.told["t3-mid"] = 12.0
    night.run(180)
    before = len(night.pages())
    assert before
    night.unwatched(night.now + 3 * DAY)
    assert len(night.pages()) == before
    night.run(1)
    since = [page.person for page in night.pages()[before:]]
    assert since
    assert len(since) == len(set(since))
    night.run(60)
    assert len(night.pages()) > before + len(since), "an hour later it is told again"
