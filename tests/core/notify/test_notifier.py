"""Who is told, when, and when no more: the ladder as people live through it."""

from __future__ import annotations

import msgspec
import pytest

from kuraban.core.effects import Message
from kuraban.core.site import Duty, Person
from kuraban.core.units import HOUR
from tests.core.house import (
    AWAKE,
    DUSK,
    PEOPLE,
    ROTA,
    Bell,
    brewery,
    mashing,
    moment,
    with_rota,
)
from tests.core.ladder_model import Model, Script

NIGHT = moment("2026-02-02T02:00")


def brewing(bell: Bell) -> Bell:
    for place, course in (("tank-3", "mash"), ("tank-4", "mash"), ("bed-1", "koji")):
        bell.log(place, "batch-start", batch=place, course=course)
    return bell


# --------------------------------------------------------------------------------------- the ladder


def test_a_mash_climbs_slowly() -> None:
    """The brewer at once and after ten minutes, the next at thirty, everyone at an hour."""
    bell = Bell(at=NIGHT)
    bell.find("tank-3", "warm")
    bell.on(300)
    assert bell.rings(NIGHT) == [(0, "aki"), (10, "aki"), (30, "bun"), (60, "aki"), (60, "bun")]
    assert [page.rung for page in bell.pages()] == [0, 1, 2, 3, 3]


@pytest.mark.parametrize(
    ("subject", "condition"),
    [("bed-1", "cold"), ("moto-1", "warm"), ("tank-3", "far-warm"), ("store", "unwatched")],
)
def test_koji_starters_and_what_is_past_its_limit_climb_quickly(
    subject: str, condition: str
) -> None:
    """But a store with nothing to judge by is slow: nothing in it moves in minutes."""
    bell = Bell(at=NIGHT)
    bell.find(subject, condition)
    bell.on(300)
    quick = [(0, "aki"), (5, "aki"), (10, "bun"), (20, "aki"), (20, "bun")]
    slow = [(0, "aki"), (10, "aki"), (30, "bun"), (60, "aki"), (60, "bun")]
    assert bell.rings(NIGHT) == (slow if subject == "store" else quick)


def test_a_heater_climbs_quickly_and_a_chiller_slowly() -> None:
    for cooler, minutes in (("heater-1", [0, 5, 10, 20]), ("chiller-1", [0, 10, 30, 60])):
        bell = Bell(at=NIGHT)
        bell.find(cooler, "stopped")
        bell.on(300)
        assert [at for at, who in bell.rings(NIGHT) if who == "ken"] == minutes
        assert bell.rings(NIGHT)[-2:] == [(minutes[-1], "aki"), (minutes[-1], "bun")]


def test_an_acknowledgement_stops_every_ring_to_come() -> None:
    """A second before the ring is early enough, and nobody is rung after it."""
    bell = Bell(at=NIGHT)
    bell.find("tank-3", "warm")
    bell.wake(NIGHT + 30 * 60 - 1)
    bell.log("tank-3", "acknowledge", condition="warm", by="aki")
    bell.on(170)
    assert bell.rings(NIGHT) == [(0, "aki"), (10, "aki")]
    assert "tank-3/warm" in bell.withdrawn


def test_those_already_woken_hear_who_has_it() -> None:
    """In their own language, once each, and not she who answered."""
    bell = Bell(at=NIGHT)
    bell.find("tank-3", "warm")
    bell.on(61).log("tank-3", "acknowledge", by="bun")
    told = bell.messages("notice")
    assert [(word.person, word.urgency) for word in told] == [("aki", "log")]
    assert "Bun" in told[0].text


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


def test_what_came_right_before_anyone_answered_wakes_nobody_further() -> None:
    bell = Bell(at=NIGHT)
    bell.find("tank-3", "warm")
    bell.on(9).over("tank-3", "warm")
    bell.on(300)
    assert bell.rings(NIGHT) == [(0, "aki")]
    assert bell.engine.alarm_manager.of("tank-3"), "it stays on the list until someone has seen it"
    assert "tank-3/warm" in bell.withdrawn


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


# ---------------------------------------------------------------------------------------- who it is


def test_someone_awake_hears_of_the_mash_before_the_sleeping_brewer() -> None:
    bell = Bell(brewery(AWAKE), at=NIGHT)
    bell.find("tank-3", "warm")
    bell.on(300)
    assert bell.rings(NIGHT) == [
        (0, "cho"), (10, "cho"), (30, "aki"), (60, "cho"), (60, "aki"), (60, "bun"),
    ]  # fmt: skip


def test_the_rota_is_read_when_a_rung_is_climbed() -> None:
    """Cho goes home at six; a ring after that goes to the brewer."""
    bell = Bell(brewery(AWAKE), at=moment("2026-02-02T05:55"))
    bell.find("tank-3", "warm")
    bell.on(20)
    assert [who for _, who in bell.rings(0.0)] == ["cho", "aki"]


def test_a_store_outside_its_band_is_maintenances() -> None:
    bell = Bell(at=NIGHT)
    bell.find("store", "warm")
    assert [(page.person, page.role) for page in bell.pages()] == [("ken", "maintenance")]


def test_nobody_on_maintenance_wakes_the_brewer_for_a_cooler() -> None:
    house = with_rota(brewery(), *(duty for duty in ROTA if duty.role != "maintenance"))
    bell = Bell(house, at=NIGHT)
    bell.find("chiller-1", "stopped")
    assert [(page.person, page.role) for page in bell.pages()] == [("aki", "maintenance")]


def test_each_hears_it_in_their_own_language() -> None:
    bell = Bell(at=NIGHT)
    bell.find("bed-1", "cold")
    bell.on(10)
    assert [(page.person, page.language) for page in bell.pages()] == [
        ("aki", "en"), ("aki", "en"), ("bun", "ja"),
    ]  # fmt: skip


def test_a_part_of_the_watch_wakes_only_while_something_is_watched() -> None:
    resting = brewery()
    idle = type(resting)(site=resting.site, people=resting.people, rota=resting.rota)
    for house, rings in ((resting, [(0, "ken")]), (idle, [])):
        bell = Bell(house, at=NIGHT)
        bell.find("watch", "journal-failing")
        assert bell.rings(NIGHT) == rings


# ------------------------------------------------------------------------------------ what can wait


def test_what_can_wait_waits_at_night_for_the_morning_report() -> None:
    bell = brewing(Bell(at=NIGHT))
    bell.find("bed-1", "humid")
    bell.on(239)
    assert bell.story[-1].step == "raised" and not bell.messages("notice")
    bell.on(2)
    assert not bell.pages()
    report = bell.messages("notice")
    assert sorted(word.person for word in report) == ["aki", "dai"], "brewer, and whose work it is"
    assert all("Koji bed 1" in word.text for word in report)


def test_what_can_wait_rings_in_duty_hours_once() -> None:
    bell = Bell(at=DUSK)
    bell.find("bed-1", "humid")
    bell.on(170)
    assert bell.rings(DUSK) == [(0, "dai")]


def test_what_came_right_by_morning_is_not_in_the_report() -> None:
    """Seen, or back to normal after it was seen, it waits no longer."""
    bell = Bell(at=NIGHT)
    bell.find("bed-1", "humid")
    bell.on(10).over("bed-1", "humid")
    bell.log("bed-1", "acknowledge", by="dai")
    bell.on(235)
    assert not [word for word in bell.messages("notice") if "Koji bed 1" in word.text]


def test_what_can_wait_rings_whoever_is_awake_for_it() -> None:
    bell = Bell(brewery(AWAKE), at=NIGHT)
    bell.find("tank-3", "trending-warm")
    assert bell.rings(NIGHT) == [(0, "cho")]


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


# -------------------------------------------------------------------------------- a probe displaced


@pytest.mark.parametrize("name", ["dai", "Dai"])
def test_a_displaced_probe_goes_at_any_hour_to_whoever_worked_there(name: str) -> None:
    bell = Bell(at=NIGHT)
    bell.log("tank-3", "stir", by=name)
    bell.on(59).find("t3-mid", "displaced")
    assert [(page.person, page.role) for page in bell.pages()] == [("dai", "crew")]


def test_after_an_hour_a_displaced_probe_waits_for_the_morning() -> None:
    bell = Bell(at=NIGHT)
    bell.log("tank-3", "stir", by="dai")
    bell.on(61).find("t3-mid", "displaced")
    assert not bell.pages()


def test_work_elsewhere_rings_nobody_for_a_displaced_probe() -> None:
    bell = Bell(at=NIGHT)
    bell.log("tank-4", "stir", by="dai")
    bell.find("t3-mid", "displaced")
    assert not bell.pages()


def test_by_day_a_displaced_probe_goes_to_who_worked_there_and_to_maintenance() -> None:
    bell = Bell(at=DUSK)
    bell.log("tank-3", "stir", by="dai")
    bell.find("t3-mid", "displaced")
    assert [page.person for page in bell.pages()] == ["dai", "ken"]


# ---------------------------------------------------------------------------------- very many rings


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


# -------------------------------------------------------------------------------------- other words


def test_power_that_comes_back_is_told_to_both_who_must_look() -> None:
    night = mashing(at=moment("2026-02-02T00:00"))
    night.run(60)
    night.told = dict.fromkeys(night.told)
    night.run(40)
    assert night.steps("watch/dark") == ["raised"]
    night.told = {"t3-mid": 10.4, "t4-mid": 10.0, "s-air": 5.0}
    night.run(10)
    words = {word.person: word for word in night.messages("notice")}
    assert {"aki", "ken"} <= words.keys()
    assert "Tank 3" in words["ken"].text and "Tank 4" not in words["ken"].text


def test_someone_who_left_the_house_does_not_stop_the_watch() -> None:
    """Bun was woken and is then off the site file; the answer still reaches the others."""
    bell = brewing(Bell(at=NIGHT))
    bell.find("tank-3", "warm")
    bell.on(61)
    house = bell.house
    people = tuple(person for person in house.people if person.id != "bun")
    rota = tuple(duty for duty in house.rota if duty.person != "bun")
    bell.change(msgspec.structs.replace(house, people=people, rota=rota))
    bell.log("tank-3", "acknowledge", by="dai")
    assert [word.person for word in bell.messages("notice")] == ["aki"]


def test_every_message_has_an_id_of_its_own() -> None:
    bell = brewing(Bell(at=NIGHT))
    for subject in ("tank-3", "tank-4", "bed-1"):
        bell.find(subject, "warm")
    bell.on(600)
    ids = [event.id for event in bell.story if isinstance(event, Message)]
    assert len(ids) == len(set(ids)) > 10


def test_a_newcomer_on_the_rota_is_told_like_anyone() -> None:
    house = brewery(Duty(role="brewer", person="eri", order=0, hours=(0.0, 24 * HOUR)))
    eri = Person(id="eri", name="Eri", language="ja")
    house = msgspec.structs.replace(house, people=(*house.people, eri))
    bell = Bell(house, at=NIGHT)
    bell.find("tank-3", "warm")
    assert [page.person for page in bell.pages()] == ["eri"]


# ------------------------------------------------------------------------------ whole random nights

SEEDS = range(240)


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
