"""What people would call one thing is one incident, and rings once."""

from __future__ import annotations

import pytest

from kuraban.core.alarms.life_cycle import Alarm
from kuraban.core.effects import Message, Urgency
from kuraban.core.notify.incidents import Incident, Incidents, group_of
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
    bell.on(60)
    assert bell.rings(NIGHT) == [
        (0, "aki"), (10, "aki"), (20, "aki"), (25, "bun"), (35, "aki"), (35, "bun"),
    ]  # fmt: skip


def test_who_was_told_hears_that_it_is_past_its_limit_and_the_ladder_goes_on() -> None:
    """A bed's ladder is the quick one before, too: what gets worse starts no rung anew."""
    bell = Bell(at=NIGHT)
    bell.find("bed-1", "warm")
    bell.on(18).find("bed-1", "far-warm")
    bell.on(30)
    assert bell.rings(NIGHT) == [
        (0, "aki"), (5, "aki"), (10, "bun"), (18, "aki"), (18, "bun"), (20, "aki"), (20, "bun"),
    ]  # fmt: skip
    assert [page.alarms[0] for page in bell.pages()][3:] == ["bed-1/far-warm"] * 4


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
    bell.on(90)
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
    assert not incident.quick and incident.urgency == "log"


def entered(*alarms: tuple[str, Urgency]) -> tuple[Incidents, list[bool]]:
    """Alarms of tank 3 or chiller 1 as they ring, and whether each was news."""
    incidents, news = Incidents(), []
    for name, urgency in alarms:
        subject = "tank-3" if group_of(name) in ("warm", "cold") else "chiller-1"
        incident, new = incidents.enter(Alarm(subject, name), urgency, again=False)
        if new:
            incident.begin(0.0, urgency, "brewer", quick=False)
        news.append(new)
    return incidents, news


@pytest.mark.parametrize(
    ("first", "then", "news"),
    [
        (("warm", "wake"), ("far-warm", "wake"), True),
        (("far-warm", "wake"), ("warm", "wake"), False),
        (("cold", "wake"), ("overcooling", "wake"), False),
        (("stopped", "duty"), ("warming", "wake"), True),  # told without a sound until now
        (("stopped", "wake"), ("warming", "wake"), False),
        (("stopped", "duty"), ("warming", "duty"), False),
    ],
)
def test_what_is_graver_or_louder_is_news(
    first: tuple[str, Urgency], then: tuple[str, Urgency], news: bool
) -> None:
    assert entered(first, then)[1] == [True, news]


@pytest.mark.parametrize(("is_open", "news"), [(True, False), (False, True)])
def test_what_rings_again_is_news_unless_the_incident_rings_by_itself(
    is_open: bool, news: bool
) -> None:
    incidents, _ = entered(("warm", "wake"), ("far-warm", "wake"))
    incidents.standing["tank-3", "warm"].open = is_open
    assert incidents.enter(Alarm("tank-3", "warm"), "wake", again=True)[1] is news


def test_the_gravest_leads_and_after_it_the_next() -> None:
    incidents, _ = entered(("trending-warm", "duty"), ("warm", "wake"), ("far-warm", "wake"))
    incident = incidents.standing["tank-3", "warm"]
    leads = [(incident.lead, incident.urgency, incident.open)]
    for name in ("far-warm", "warm"):
        incidents.leave(Alarm("tank-3", name))
        leads.append((incident.lead, incident.urgency, incident.open))
    assert leads == [
        ("far-warm", "wake", True), ("warm", "wake", True), ("trending-warm", "duty", False),
    ]  # fmt: skip
    incidents.leave(Alarm("tank-3", "trending-warm"))
    assert incidents.standing == {} and incidents.members("tank-3", "warm") == []


def test_everybody_is_noted_once_and_anew_for_each_ring() -> None:
    incident = Incident(("tank-3", "warm"))
    for person in ("aki", "aki", "bun", "aki"):
        incident.tell(person)
    assert (incident.told, incident.rung_now) == (["aki", "bun"], ["aki", "bun"])
    incident.begin(60.0, "wake", "brewer", quick=True)
    assert (incident.told, incident.rung_now) == (["aki", "bun"], [])
    incident.tell("aki")
    assert (incident.told, incident.rung_now) == (["aki", "bun"], ["aki"])
