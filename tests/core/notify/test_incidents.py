"""What people would call one thing is one incident, and rings once."""

from __future__ import annotations

from kuraban.core.effects import Message
from kuraban.core.notify.incidents import Incident, group_of
from tests.core.house import Bell, brewing, mashing, moment

NIGHT = moment("2026-02-02T02:00")


def test_the_brewers_answer_for_a_place_answers_everything_there() -> None:
    bell = Bell(at=NIGHT)
    bell.find("tank-3", "warm")
    bell.find("tank-3", "unwatched")
    bell.on(1).log("tank-3", "acknowledge", by="aki")
    bell.on(170)
    assert len(bell.pages()) == 2


def test_answering_one_alarm_of_an_incident_answers_the_incident() -> None:
    bell = Bell(at=NIGHT)
    bell.find("tank-3", "warm")
    bell.on(1).find("tank-3", "far-warm")
    bell.on(1).log("tank-3", "acknowledge", condition="warm", by="aki")
    assert bell.steps("tank-3/far-warm") == ["raised", "acknowledged"]
    assert len(bell.pages()) == 2


def test_past_the_limit_raises_the_rank_of_the_same_incident_with_one_page() -> None:
    bell = Bell(at=NIGHT)
    bell.find("tank-3", "warm")
    bell.on(20).find("tank-3", "far-warm")
    assert [page.alarms for page in bell.pages()][2:] == [("tank-3/far-warm",)]
    bell.on(300)
    assert bell.rings(NIGHT) == [
        (0, "aki"), (10, "aki"), (20, "aki"), (25, "aki"), (30, "bun"), (40, "aki"), (40, "bun"),
    ]  # fmt: skip


def test_past_the_limit_rings_though_out_of_tolerance_is_in_hand() -> None:
    bell = Bell(at=NIGHT)
    bell.find("tank-3", "warm")
    bell.log("tank-3", "acknowledge", by="aki")
    bell.on(20).find("tank-3", "far-warm")
    bell.on(5)
    assert bell.rings(NIGHT) == [(0, "aki"), (20, "aki"), (25, "aki")]


def test_out_of_tolerance_after_past_the_limit_adds_nothing() -> None:
    """A tank that jumps past its limit is told of once, though it is later warm by its hour."""
    night = mashing()
    night.run(60).told["t3-mid"] = 11.5
    night.run(35)
    night.log("tank-3", "acknowledge", by="aki")
    night.run(100)
    assert night.steps("tank-3/warm") == ["raised", "acknowledged"]
    assert len([m for m in night.story if isinstance(m, Message) and m.alarms]) == 1


def test_a_tank_past_its_limit_that_got_worse_rings_once() -> None:
    """Warm and far-warm both stand and both got worse; that is one thing and one ring."""
    for side in ("warm", "cold"):
        bell = brewing(Bell(at=NIGHT))
        for condition in (f"far-{side}", side):
            bell.find("tank-3", condition, worse=1.3)
        bell.log("tank-3", "acknowledge", by="aki")
        bell.on(30)
        for condition in (f"far-{side}", side):
            bell.find("tank-3", condition, worse=1.6)
        rung = [page.alarms for page in bell.pages() if page.at == bell.now]
        assert rung == [(f"tank-3/far-{side}",)]


def test_an_unkept_promise_of_one_incident_rings_once() -> None:
    for side in ("warm", "cold"):
        bell = brewing(Bell(at=NIGHT))
        for condition in (f"far-{side}", side):
            bell.find("tank-3", condition, worse=1.3)
        bell.log("tank-3", "acknowledge", by="aki")
        bell.on(180)
        rung = [page.alarms for page in bell.pages() if page.at == bell.now]
        assert rung == [(f"tank-3/far-{side}",)]


def test_two_failings_of_one_cooler_ring_once() -> None:
    bell = Bell(at=NIGHT)
    bell.find("chiller-1", "stopped")
    bell.on(5).find("chiller-1", "warming")
    bell.on(4)
    assert bell.rings(NIGHT) == [(0, "ken")]
    bell.log("chiller-1", "acknowledge", by="ken")
    bell.on(60)
    assert len([page for page in bell.pages() if page.at == bell.now]) == 1


def test_what_of_an_incident_still_stands_is_what_people_go_on_hearing_of() -> None:
    """With its lead over, the rest climbs on; which of several leads is always the same one."""
    bell = Bell(at=NIGHT)
    for failing in ("stopped", "warming", "not-cooling"):
        bell.find("chiller-1", failing)
    bell.on(5).over("chiller-1", "stopped")
    bell.on(5)
    assert [page.alarms[0] for page in bell.pages()] == [
        "chiller-1/stopped", "chiller-1/not-cooling",
    ]  # fmt: skip


def test_another_tank_is_another_incident() -> None:
    bell = Bell(at=NIGHT)
    bell.find("tank-3", "warm")
    bell.on(1).find("tank-4", "warm")
    bell.log("tank-3", "acknowledge", by="aki")
    bell.on(170)
    assert [(at, who) for at, who in bell.rings(NIGHT)][2:] == [
        (11, "aki"), (31, "bun"), (61, "aki"), (61, "bun"),
    ]  # fmt: skip


def test_a_tank_that_trended_and_then_left_wakes_the_brewer() -> None:
    bell = Bell(at=NIGHT)
    bell.find("tank-3", "trending-warm")
    bell.on(60).find("tank-3", "warm")
    bell.over("tank-3", "trending-warm")
    bell.on(10)
    assert bell.rings(NIGHT) == [(60, "aki"), (70, "aki")]


def test_back_inside_but_on_its_way_out_wakes_nobody_further() -> None:
    """What still trends is a matter for the morning; the ladder of the warm tank is over."""
    bell = Bell(at=NIGHT)
    bell.find("tank-3", "warm")
    bell.find("tank-3", "trending-warm")
    bell.on(5).over("tank-3", "warm")
    bell.on(170)
    assert bell.rings(NIGHT) == [(0, "aki")]


def test_one_side_of_one_product_is_one_incident() -> None:
    def groups(*names: str) -> set[str]:
        return {group_of(name) for name in names}

    assert groups("warm", "far-warm", "trending-warm") == {"warm"}
    assert groups("cold", "far-cold", "trending-cold", "overcooling") == {"cold"}
    assert groups("stopped", "not-cooling", "not-heating", "warming") == {"cooling"}
    assert groups("silent", "wild", "humid") == {"silent", "wild", "humid"}


def test_a_new_incident_concerns_nobody_yet() -> None:
    incident = Incident(("tank-3", "warm"))
    assert (incident.open, incident.told, incident.members) == (False, [], set())
