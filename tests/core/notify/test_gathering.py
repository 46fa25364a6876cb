"""Very many rings within an hour become few messages."""

from __future__ import annotations

import pytest

from tests.core.house import Bell, brewing, moment

NIGHT = moment("2026-02-02T02:00")


def test_rings_that_come_too_thick_are_gathered_in_one_message() -> None:
    """Six wake her within the hour; what comes after is told five minutes later, together."""
    bell = brewing(Bell(at=NIGHT))
    for subject in ("tank-3", "tank-4", "moto-1"):
        for condition in ("unwatched", "warm", "cold"):
            bell.find(subject, condition)
    bell.on(4.9)
    assert len(bell.pages("aki")) == 6
    bell.on(0.1)
    assert bell.pages("aki")[6].alarms == ("moto-1/unwatched", "moto-1/warm", "moto-1/cold")
    assert len(bell.pages("aki")) == 7


def test_a_flood_that_nobody_answers_stays_gathered() -> None:
    """Ringing again and ringing the next count too: six an hour, and one every five minutes."""
    bell = brewing(Bell(at=NIGHT))
    for number, subject in enumerate(["tank-3", "tank-4", "bed-1", "bed-2", "moto-1", "store"]):
        for condition in ("warm", "cold", "unwatched"):
            bell.find(subject, condition)
            bell.wake(NIGHT + number)
    bell.on(59)
    assert all(len(bell.pages(person)) <= 6 + 11 for person in ("aki", "bun", "ken"))
    assert max(len(page.alarms) for page in bell.pages("aki")) > 6


def test_what_was_answered_meanwhile_is_not_gathered() -> None:
    bell = brewing(Bell(at=NIGHT))
    for subject in ("tank-3", "tank-4", "bed-1", "bed-2"):
        bell.find(subject, "warm")
        bell.find(subject, "cold")
    bell.on(1).log("bed-2", "acknowledge", by="aki")
    bell.on(4)
    assert not [page for page in bell.pages("aki") if "bed-2/warm" in page.alarms]


def test_an_hour_later_they_ring_one_by_one_again() -> None:
    bell = brewing(Bell(at=NIGHT))
    for number in range(7):
        bell.wake(NIGHT + number * 11 * 60)
        bell.find("tank-3", "unwatched")
        bell.log("tank-3", "acknowledge", by="bun")
        bell.over("tank-3", "unwatched")
    assert [len(page.alarms) for page in bell.pages("aki")] == [1] * 7


def thick(bell: Bell) -> Bell:
    """Six rings about six things have just woken Aki, and Bun has all six in hand."""
    for subject in ("tank-4", "moto-1"):
        for condition in ("unwatched", "warm", "cold"):
            bell.find(subject, condition)
        bell.log(subject, "acknowledge", by="bun", for_="12h")
    assert len(bell.pages("aki")) == 6
    return bell


def test_what_is_only_now_past_its_limit_is_never_held_back() -> None:
    """Its first ring; after that it waits like the others."""
    bell = thick(brewing(Bell(at=NIGHT)))
    bell.on(1).find("bed-1", "far-warm")
    assert bell.pages("aki")[6].alarms == ("bed-1/far-warm",)
    bell.on(9)
    assert len(bell.pages("aki")) == 7, "ringing again is held back"
    bell.on(1)
    assert bell.pages("aki")[7].alarms == ("bed-1/far-warm",)


def test_what_waited_for_one_who_was_not_reached_waits_for_nobody_else() -> None:
    """Aki has been rung as often as one can be; the store's page did not reach Ken, and is hers."""
    bell = thick(brewing(Bell(at=NIGHT)))
    bell.on(1).find("store", "warm")
    (page,) = bell.pages("ken")
    bell.engine.notifier.climbing.unreached(page.id, bell.now)
    bell.on(0)
    assert bell.pages("aki")[6].alarms == ("store/warm",)


def test_what_was_told_by_itself_meanwhile_is_not_told_again_with_the_rest() -> None:
    """Its second ring waits to be gathered; then it is answered, gets worse and rings anew at once.
    Four minutes later she is not rung for the old one."""
    bell = thick(brewing(Bell(at=NIGHT)))
    bell.on(1).find("bed-1", "far-warm", worse=1.0)
    bell.on(6).log("bed-1", "acknowledge", by="bun")
    bell.find("bed-1", "far-warm", worse=2.0)
    assert [page.at - NIGHT for page in bell.pages("aki")[6:]] == [60.0, 420.0]
    bell.on(4.5)
    assert len(bell.pages("aki")) == 8


def test_a_gathered_message_is_as_urgent_as_the_most_urgent_in_it() -> None:
    """And goes in the role of the first."""
    bell = thick(brewing(Bell(at=moment("2026-02-02T12:00"))))
    bell.find("tank-3", "trending-warm")
    bell.find("bed-1", "cold")
    bell.on(5)
    page = bell.pages("aki")[6]
    assert page.alarms == ("tank-3/trending-warm", "bed-1/cold")
    assert (page.urgency, page.role) == ("wake", "brewer")


def test_a_list_of_two_names_both() -> None:
    bell = thick(brewing(Bell(at=NIGHT)))
    bell.find("tank-3", "warm")
    bell.find("bed-1", "cold")
    bell.on(5)
    page = bell.pages("aki")[6]
    assert all(name in f"{page.title} {page.body}" for name in ("Tank 3", "Koji bed 1"))


def test_gathered_duty_alarms_wake_nobody() -> None:
    bell = thick(brewing(Bell(at=moment("2026-02-02T12:00"))))
    for condition in ("trending-warm", "trending-cold"):
        bell.find("tank-3", condition)
    bell.on(5)
    page = bell.pages("aki")[6]
    assert page.alarms == ("tank-3/trending-warm", "tank-3/trending-cold")
    assert page.urgency == "duty"


def test_six_rings_about_two_things_are_told_singly() -> None:
    """They would not be fewer in a list."""
    bell = brewing(Bell(at=NIGHT))
    for number in range(9):
        bell.wake(NIGHT + number * 60)
        for condition in ("unwatched", "cold"):
            bell.find("bed-1", condition)
            bell.log("bed-1", "acknowledge", by="bun")
            bell.over("bed-1", condition)
    assert [len(page.alarms) for page in bell.pages("aki")] == [1] * 18


@pytest.mark.parametrize(("minutes", "gathered"), [(9.9, True), (10, False)])
def test_an_hour_after_the_first_of_six_the_next_rings_by_itself(
    minutes: float, gathered: bool
) -> None:
    """Six things within the hour before it are a flood."""
    bell = brewing(Bell(at=NIGHT))
    subjects = ("tank-3", "tank-4", "bed-1")
    for number in range(7):
        bell.wake(NIGHT + number * minutes * 60)
        subject, condition = subjects[number % 3], ("warm", "cold", "unwatched")[number // 3]
        bell.find(subject, condition)
        if number < 6:
            bell.log(subject, "acknowledge", by="bun", for_="12h")
    assert len(bell.pages("aki")) == (6 if gathered else 7)


def test_six_rings_about_three_things_are_a_flood() -> None:
    """From the seventh on they come in one list."""
    bell = brewing(Bell(at=NIGHT))
    for number in range(3):
        bell.wake(NIGHT + number * 60)
        for condition in ("unwatched", "cold", "warm"):
            bell.find("bed-1", condition)
            bell.log("bed-1", "acknowledge", by="bun")
            bell.over("bed-1", condition)
    assert len(bell.pages("aki")) == 6


def test_a_thing_that_rang_twice_meanwhile_stands_in_the_list_once() -> None:
    bell = thick(brewing(Bell(at=NIGHT)))
    bell.find("bed-1", "cold")
    bell.log("bed-1", "acknowledge", by="bun")
    bell.over("bed-1", "cold")
    bell.on(1).find("bed-1", "cold")
    bell.find("bed-1", "warm")
    bell.on(4)
    assert bell.pages("aki")[6].alarms == ("bed-1/cold", "bed-1/warm")


def test_a_list_of_one_is_told_like_any_ring() -> None:
    bell = thick(brewing(Bell(at=NIGHT)))
    bell.find("bed-1", "cold")
    page = bell.on(5).pages("aki")[6]
    assert (page.title, page.rung) == ("Koji bed 1 cold", 0)
