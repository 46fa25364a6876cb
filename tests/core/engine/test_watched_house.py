"""What comes with a house comes whole, and settles anew when the house changes."""

from __future__ import annotations

import msgspec
import pytest

from kuraban.core.deadlines import Deadlines
from kuraban.core.engine.engine import Engine
from kuraban.core.engine.look_timers import Timers
from kuraban.core.engine.watched_house import WatchedHouse
from kuraban.core.facts import HouseChanged
from kuraban.core.site import to_document
from kuraban.errors import OurError
from tests.core.house import DUSK, Bell, brewery, words


def watched(*left_out: str) -> WatchedHouse:
    house = WatchedHouse(
        brewery(), DUSK, words(), Timers(), Deadlines(), lambda fact: None, frozenset(left_out)
    )
    house.begin(DUSK)
    return house


def test_before_a_house_is_known_nothing_of_it_can_be_asked() -> None:
    engine = Engine(words())
    assert not engine.started and engine.impaired == {}
    with pytest.raises(OurError, match="knows no house yet"):
        _ = engine.view
    engine.take(HouseChanged(DUSK, to_document(brewery())))
    assert engine.started and engine.view.house.site.name == brewery().site.name


def test_everybody_sees_one_house_and_tells_one_door() -> None:
    house = watched()
    assert house.view.sees(house.state)
    for detector in house.registry.detectors.values():
        assert detector.view is house.view and detector.tell == house.conclusions.take


def test_everybody_has_looked_once_when_it_begins() -> None:
    house = watched()
    assert house.registry.one(type(house.registry.clocks), "watch") is house.registry.clocks
    assert any(one.due < DUSK + 3600 for one in house.registry.detectors.values())


def test_what_leaves_the_house_leaves_the_list_and_what_comes_back_is_on_it() -> None:
    bell = Bell()
    whole = bell.house
    bell.find("tank-3", "warm")
    bell.change(msgspec.structs.replace(whole, places=whole.places[1:], probes=whole.probes[1:]))
    assert bell.steps("tank-3/warm")[-1] == "out-of-service"
    bell.change(whole)
    assert not bell.engine.alarm_manager.alarm("tank-3", "warm").stands
