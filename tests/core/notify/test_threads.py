"""A dead chiller and its tanks are one cause: whoever knows is rung again when it gets worse."""

from __future__ import annotations

from collections import Counter
from itertools import pairwise

import msgspec

from kuraban.core.alarms.life_cycle import State
from kuraban.core.engine.durable_state import lay_over, pack, standing_of, unpack
from kuraban.core.site import Place
from tests.core.house import Bell, brewery, moment

NIGHT = moment("2026-02-02T02:00")
EVENING = moment("2026-02-01T22:00")


def dead_chiller(at: float = NIGHT) -> Bell:
    """Chiller 1 stopped two hours ago and Ken has it in hand; nothing of its tanks rang yet."""
    bell = Bell(at=at - 7200.0)
    bell.find("chiller-1", "stopped")
    bell.log("chiller-1", "acknowledge", by="ken", for_="12h")
    return bell.on(120)


def told(bell: Bell, since: float = NIGHT) -> list[tuple[float, str, tuple[str, ...]]]:
    return [((page.at - since) / 60, page.person, page.alarms)
            for page in bell.pages() if page.at >= since]  # fmt: skip


def test_the_second_tank_of_a_dead_chiller_rings_nobody_and_stands_in_the_next_message() -> None:
    bell = dead_chiller()
    bell.find("tank-3", "warm")
    bell.on(4).find("tank-4", "warm")
    bell.on(7)
    assert bell.steps("tank-4/warm") == ["raised"]
    assert told(bell) == [
        (0, "aki", ("tank-3/warm",)), (10, "aki", ("tank-3/warm", "tank-4/warm")),
    ]  # fmt: skip


def test_a_further_tank_is_told_at_once_without_a_sound_to_whoever_was_rung() -> None:
    """At the ladder's end their next message may be an hour away."""
    bell = dead_chiller()
    bell.find("tank-3", "warm")
    bell.on(70)
    rung = {page.person for page in bell.pages() if page.at >= NIGHT}
    bell.find("tank-4", "warm")
    bell.wake(bell.now)
    words = [one for one in bell.messages("notice") if one.alarms == ("tank-4/warm",)]
    assert {one.person for one in words} == rung and rung
    assert {one.urgency for one in words} == {"duty"}
    assert not [page for page in bell.pages() if page.at == bell.now]


def test_tanks_that_leave_their_plan_without_a_known_cause_ring_each_by_itself() -> None:
    """And so does the cold side, which no dead chiller makes."""
    bell = Bell(at=NIGHT)
    bell.find("tank-3", "warm")
    bell.find("tank-4", "warm")
    assert len(told(bell)) == 2
    bell = dead_chiller()
    bell.find("tank-3", "warm")
    bell.find("tank-4", "cold")
    assert len(told(bell)) == 2


def test_three_places_of_one_cooler_out_on_one_side_have_one_cause() -> None:
    """Whatever is known of the cooler: as a thermostat that sticks cools all of them too far."""
    places = [Place(id=f"tank-{n}", kind="tank", name=f"Tank {n}", cooler="chiller-1")
              for n in (3, 4, 5, 6)]  # fmt: skip
    few = {"places": tuple(places), "coolers": brewery().coolers[:1], "probes": ()}
    bell = Bell(msgspec.structs.replace(brewery(), **few), at=NIGHT)
    for minutes, place in enumerate(places):
        bell.find(place.id, "cold")
        bell.on(1 if minutes < 3 else 0)
    assert [alarms for _, _, alarms in told(bell)] == [("tank-3/cold",), ("tank-4/cold",)]


def test_a_dead_heater_is_the_cause_of_beds_that_grow_cold() -> None:
    bell = Bell(at=NIGHT)
    bell.find("heater-1", "not-heating")
    bell.find("bed-1", "cold")
    bell.find("bed-2", "cold")
    assert told(bell) == [(0, "ken", ("heater-1/not-heating",)), (0, "aki", ("bed-1/cold",))]


def test_a_tank_that_passes_its_limit_rings_whoever_heard_that_another_is_warm() -> None:
    bell = dead_chiller()
    bell.find("tank-3", "warm")
    bell.on(1).find("tank-4", "warm")
    bell.on(1).find("tank-4", "far-warm")
    assert told(bell)[1:] == [(2, "aki", ("tank-4/far-warm", "tank-3/warm"))]
    bell.on(5)
    assert len(told(bell)) == 3, "the quick ladder goes on, for both together"
    bell.find("tank-3", "far-warm")
    assert told(bell)[3:] == [(7, "aki", ("tank-3/far-warm", "tank-4/far-warm"))]


def test_a_dead_chiller_that_nobody_answers_all_night_rings_once_an_hour() -> None:
    """Eight hours: four rings in the first, then one an hour for all together, and one more for
    each thing that got a rank worse."""
    bell = Bell(at=EVENING)
    bell.find("chiller-1", "stopped")
    bell.on(185).find("tank-3", "warm")
    bell.on(30).find("tank-4", "warm")
    bell.on(80).find("tank-3", "far-warm")
    bell.on(60).find("tank-4", "far-warm")
    bell.on(120)
    counted = Counter(page.person for page in bell.pages())
    assert counted["ken"] <= 4 + 7 + 3 and counted["aki"] <= 8 + 3 and counted["bun"] <= 8 + 3
    last = [page for page in bell.pages() if page.at > bell.now - 3600.0]
    assert sorted(page.person for page in last) == ["aki", "bun", "ken"]
    everything = {"tank-3/far-warm", "tank-4/far-warm", "chiller-1/stopped"}
    assert all(set(page.alarms) == everything for page in last)


def test_an_hour_never_passes_without_a_word_to_whoever_should_know() -> None:
    bell = Bell(at=EVENING)
    bell.find("chiller-1", "stopped")
    bell.on(90).find("tank-3", "warm")
    bell.on(400)
    for person in ("ken", "aki"):
        heard = [page.at for page in bell.pages(person)]
        assert max(b - a for a, b in pairwise(heard)) <= 3600.0


def test_what_the_same_people_left_unanswered_shares_one_message_an_hour() -> None:
    """Two tanks without a common cause; an answer to one is none to the other."""
    bell = Bell(at=NIGHT)
    bell.find("tank-3", "warm")
    bell.on(7).find("tank-4", "cold")
    bell.on(180)
    hourly = [(at, alarms) for at, who, alarms in told(bell) if who == "aki" and at > 70]
    assert hourly == [(at, ("tank-3/warm", "tank-4/cold")) for at in (120, 180)]
    bell.log("tank-3", "acknowledge", by="aki")
    assert bell.steps("tank-4/cold") == ["raised"]
    bell.on(61)
    assert [alarms for _, who, alarms in told(bell) if who == "aki"][-1] == ("tank-4/cold",)


def test_an_answer_to_what_leads_is_one_to_what_follows() -> None:
    """Aki heard of both; nobody is rung for either before the promise passes."""
    bell = dead_chiller()
    bell.find("tank-3", "warm")
    bell.on(4).find("tank-4", "warm")
    bell.on(7).log("tank-3", "acknowledge", by="aki", for_="2h")
    bell.on(100)
    assert bell.steps("tank-4/warm") == ["raised", "acknowledged"]
    assert len(told(bell)) == 2
    bell.on(60)
    assert [at for at, _, _ in told(bell)[2:3]] == [131]


def test_whoever_answers_without_having_heard_of_the_second_tank_hears_of_it_softly() -> None:
    bell = dead_chiller()
    bell.find("tank-3", "warm")
    bell.on(4).find("tank-4", "warm")
    bell.log("tank-3", "acknowledge", by="aki")
    last = bell.messages("notice", "aki")[-1]
    assert last.alarms == ("tank-4/warm",)
    assert len(told(bell)) == 1


def test_a_tank_that_joins_what_somebody_has_in_hand_is_in_the_same_hands() -> None:
    bell = dead_chiller()
    bell.find("tank-3", "warm", worse=0.6)
    bell.log("tank-3", "acknowledge", by="aki")
    bell.on(30).find("tank-4", "warm", worse=0.6)
    assert bell.steps("tank-4/warm") == ["raised", "acknowledged"]
    assert len(told(bell)) == 1
    bell.find("tank-4", "warm", worse=1.2)
    assert told(bell)[1:] == [(30, "aki", ("tank-4/warm",))], "it got worse than what they know"


def test_what_maintenance_does_about_the_chiller_is_no_answer_for_the_mash() -> None:
    bell = Bell(at=NIGHT)
    bell.find("chiller-1", "stopped")
    bell.on(70).find("tank-3", "warm")
    bell.log("chiller-1", "acknowledge", by="ken", for_="12h")
    bell.on(61)
    last = [page for page in bell.pages() if page.at == bell.now - 60.0]
    assert {page.alarms for page in last} == {("tank-3/warm",)}


def test_an_answer_for_the_mash_is_none_for_the_chiller() -> None:
    bell = Bell(at=NIGHT)
    bell.find("chiller-1", "stopped")
    bell.on(70).find("tank-3", "warm")
    bell.log("tank-3", "acknowledge", by="aki", for_="12h")
    heard = len(bell.pages("ken"))
    bell.on(61)
    assert [page.alarms for page in bell.pages("ken")][heard:] == [("chiller-1/stopped",)]
    assert bell.engine.alarm_manager.alarm("chiller-1", "stopped").state is State.UNACKNOWLEDGED


def test_what_followed_goes_on_when_what_led_is_over() -> None:
    """Where nobody had heard of it they do at once; else it goes on where the ladder stood."""
    bell = dead_chiller()
    bell.find("tank-3", "warm")
    bell.on(4).find("tank-4", "warm")
    bell.on(1).over("tank-3", "warm")
    assert told(bell)[1:] == [(5, "aki", ("tank-4/warm",))]
    bell = dead_chiller()
    bell.find("tank-3", "warm")
    bell.on(4).find("tank-4", "warm")
    bell.on(8).over("tank-3", "warm")
    bell.on(60)
    assert [(at, who) for at, who, _ in told(bell)[2:]] == [(30, "bun"), (60, "aki"), (60, "bun")]


def test_the_chiller_that_runs_again_leaves_no_tank_unheard() -> None:
    bell = dead_chiller()
    bell.find("tank-3", "warm")
    bell.on(4).find("tank-4", "warm")
    bell.on(1).over("chiller-1", "stopped")
    bell.on(5)
    assert told(bell)[1:] == [(10, "aki", ("tank-3/warm", "tank-4/warm"))]


def test_a_page_of_a_thread_that_failed_is_passed_on_once() -> None:
    bell = dead_chiller()
    bell.find("tank-3", "warm")
    bell.on(4).find("tank-4", "warm")
    bell.on(7)
    bell.engine.notifier.climbing.unreached(bell.pages()[-1].id, bell.now)
    bell._drained()
    assert told(bell)[2:] == [(11, "bun", ("tank-3/warm", "tank-4/warm"))]


def test_an_update_in_the_middle_of_it_loses_no_hour() -> None:
    """Also one from a watch that planned nothing after its last rung."""
    bell = dead_chiller()
    bell.find("tank-3", "warm")
    bell.on(4).find("tank-4", "warm")
    bell.on(70)
    heard = len(bell.pages("aki"))
    for lost in (False, True):
        lay_over(bell.engine, unpack(pack(standing_of(bell.engine))))
        if lost:
            bell.engine.deadlines.items.clear()
            bell.engine.notifier.climbing.take_up(set(), bell.now)
        bell.on(61)
    assert [page.alarms for page in bell.pages("aki")][heard:] == [
        ("tank-3/warm", "tank-4/warm"), ("tank-3/warm", "tank-4/warm"),
    ]  # fmt: skip


def test_what_has_no_cause_in_common_and_is_other_peoples_is_never_told_in_one_message() -> None:
    """A warm tank is the brewer's and a warm store maintenance's, all night long."""
    bell = Bell(at=NIGHT)
    bell.find("tank-3", "warm")
    bell.find("store", "warm")
    bell.on(300)
    assert {alarms for _, _, alarms in told(bell)} == {("tank-3/warm",), ("store/warm",)}
