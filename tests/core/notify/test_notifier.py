"""A second sign in the same hands, and whole random nights."""

from __future__ import annotations

import pytest

from kuraban.core.effects import Message
from tests.core.house import PEOPLE, Bell
from tests.core.ladder_model import Model, Script

SEEDS = range(240)


def joined(first: str = "cold", second: str = "overcooling") -> Bell:
    """A cold tank in Aki's hands, and twenty minutes later a second sign of the same."""
    bell = Bell()
    bell.log("tank-3", "batch-start", batch="3", course="mash", stage="main")
    bell.find("tank-3", first, worse=0.7)
    bell.on(4).log("tank-3", "acknowledge", condition=first, by="aki")
    bell.on(20).find("tank-3", second, worse=0.7)
    return bell


@pytest.mark.parametrize("order", [("cold", "overcooling"), ("overcooling", "cold")])
def test_a_second_sign_of_what_is_in_hand_is_in_the_same_hands(order: tuple[str, str]) -> None:
    """One cause, one page: whoever has it hears of it once, soundlessly, and nobody else does."""
    bell = joined(*order)
    alarm = f"tank-3/{order[1]}"
    assert bell.steps(alarm) == ["raised", "acknowledged"]
    assert bell.engine.alarm_manager.alarm("tank-3", order[1]).by == "aki"
    told = [(m.step, m.person) for m in bell.story if isinstance(m, Message) and alarm in m.alarms]
    assert told == [("notice", "aki")]
    bell.on(60)
    assert not [page for page in bell.pages() if alarm in page.alarms]


def test_a_second_sign_in_the_same_hands_has_the_same_promise() -> None:
    """A mash has three hours from when it was answered, and rings once if that is not kept."""
    bell = joined()
    bell.on(160)
    assert len(bell.pages()) == 2, "the first ring and the ring of the promise"
    bell.log("tank-3", "acknowledge", condition="cold", by="aki")
    assert bell.steps("tank-3/overcooling")[-2:] == ["realarmed", "acknowledged"]


def test_a_second_sign_that_gets_worse_rings_again() -> None:
    bell = joined()
    bell.on(10).find("tank-3", "overcooling", worse=0.9)
    assert bell.steps("tank-3/overcooling")[-1] == "realarmed"
    assert len(bell.pages()) == 2


def test_a_trend_that_joins_what_is_in_hand_is_not_told_at_all() -> None:
    bell = joined("cold", "trending-cold")
    assert bell.steps("tank-3/trending-cold") == ["raised", "acknowledged"]
    assert not [m for m in bell.story if isinstance(m, Message) and "trend" in m.title]
    assert len(bell.pages()) == 1


@pytest.mark.parametrize("seed", SEEDS)
def test_a_random_night_tells_whom_it_should_by_when_it_should(seed: int) -> None:
    """Against a model that knows the ladder as people would tell it, and nothing of the watch."""
    script = Script(seed)
    bell = Bell(script.house, at=script.start)
    model = Model(script.house)
    for event in script.events:
        bell.wake(event.at)
        if event.what == "answers":
            bell.log(event.subject, "acknowledge", by=event.who)
        else:
            bell.find(event.subject, event.condition, event.what == "rises")
        model.take(event)
    bell.wake(script.end)
    told = [
        (round(message.at, 3), message.step, message.person, message.alarms)
        for message in bell.story
        if isinstance(message, Message) and message.alarms
    ]
    assert sorted(told) == sorted(model.until(script.end))


def test_the_random_nights_are_worth_their_name() -> None:
    """They reach every rung, answers, returns, gathered rings and quiet nights alike."""
    nights = []
    for seed in SEEDS:
        script = Script(seed)
        model = Model(script.house)
        for event in script.events:
            model.take(event)
        nights.append(model.until(script.end))
    pages = [told for night in nights for told in night if told[1] == "page"]
    assert len(pages) > 2000 and {told[2] for told in pages} == {p.id for p in PEOPLE}
    assert sum(len(told[3]) > 1 for told in pages) > 20
    assert sum(told[1] == "notice" for night in nights for told in night) > 300
