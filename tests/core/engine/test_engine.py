"""One engine, whoever calls it and however: the same facts give the same story."""

from __future__ import annotations

import json
import random

import msgspec
import pytest
from hypothesis import Phase, example, given, settings
from hypothesis import strategies as st

from kuraban.core.detectors.base import Detector
from kuraban.core.detectors.stage_overdue import StageOverdue
from kuraban.core.effects import Message, Step
from kuraban.core.engine.engine import Engine
from kuraban.core.entries import Stir
from kuraban.core.facts import Delivered, Fact, HouseChanged, Impaired, Logged, Reading, Refusal
from kuraban.core.planned_curve import FAR_FUTURE
from kuraban.core.site import House, Probe, to_document
from kuraban.core.units import DAY, HOUR, MINUTE
from tests.core.busy_night import DAWN, HOUSE, facts, told
from tests.core.house import DUSK, Bell, Night, brewery, mashing, moment, words
from tests.kept import kept_and_read

few = settings(max_examples=8, phases=[Phase.explicit, Phase.generate])
"""Whole nights: a failing one says as much as its shortest relative."""

# ----------------------------------------------------------------------------------- the same story


def test_the_busy_night_is_busy() -> None:
    """Every kind of step but the rarest, and rings to most of the house."""
    steps = {event.step for event in told() if isinstance(event, Step)}
    assert steps >= {"raised", "acknowledged", "returned", "normal", "realarmed", "shelved"}
    assert {event.person for event in told() if isinstance(event, Message)} >= {"aki", "cho", "ken"}
    alarms = {event.alarm for event in told() if isinstance(event, Step)}
    assert {"tank-3/warm", "bed-1/far-cold", "store/warm", "watch/dark"} <= alarms


@few
@given(st.lists(st.integers(1, 400), min_size=1, max_size=40))
def test_bundles_of_any_size_give_the_same_story(sizes: list[int]) -> None:
    """However many facts a turn takes, the steps and messages are the same to the byte."""
    engine, story, left = Engine(words()), [], 0
    turns = iter(sizes)
    for fact in facts():
        if left == 0:
            story += engine.drain().story
            left = next(turns, 500)
        engine.take(fact)
        left -= 1
    engine.wake(DAWN)
    assert (*story, *engine.drain().story) == told()


@few
@given(st.floats(0, 1), st.integers(0, 2**32))
def test_a_loop_that_wakes_early_and_often_decides_alike(share: float, seed: int) -> None:
    engine, lots = Engine(words()), random.Random(seed)
    before = DUSK
    for fact in facts():
        for at in sorted(lots.uniform(before, fact.received) for _ in range(3)):
            if lots.random() < share:
                engine.wake(at)
        engine.take(fact)
        before = fact.received
    engine.wake(DAWN)
    assert tuple(engine.drain().story) == told()


def test_a_loop_that_wakes_at_each_deadline_decides_alike() -> None:
    engine = Engine(words())
    for fact in facts():
        while engine.started and engine.next_wake() <= fact.received:
            engine.wake(engine.next_wake())
        engine.take(fact)
    while engine.next_wake() <= DAWN:
        engine.wake(engine.next_wake())
    assert tuple(engine.drain().story) == told()


@few
@given(st.lists(st.integers(1, len(facts()) - 1), min_size=1, max_size=3))
@example([1])
def test_a_watch_kept_and_taken_up_again_goes_on_as_if_nothing_were(cuts: list[int]) -> None:
    """Written away in mid-night and read again, it tells the rest as it would have."""
    engine, story = Engine(words()), []
    for number, fact in enumerate(facts()):
        if number in cuts:
            story += engine.drain().story
            engine = kept_and_read(engine, words())
        engine.take(fact)
    engine.wake(DAWN)
    assert (*story, *engine.drain().story) == told()


@few
@given(st.integers(1, 300))
def test_the_journals_facts_give_the_same_story_again(size: int) -> None:
    """What was kept is all that the decisions rested on."""
    live, journal = Engine(words()), []
    for number, fact in enumerate(facts()):
        live.take(fact)
        if number % size == 0:
            journal += live.drain().facts
    live.wake(DAWN)
    journal += live.drain().facts
    again = Engine(words())
    for fact in journal:
        again.take(fact)
    again.wake(DAWN)
    assert tuple(again.drain().story) == told()


def test_the_journal_survives_being_written_as_json() -> None:
    live = Engine(words())
    for fact in facts():
        live.take(fact)
    kept = [fact for fact in live.drain().facts if isinstance(fact, Reading)]
    again = [msgspec.json.decode(msgspec.json.encode(fact), type=Reading) for fact in kept]
    assert again == kept and len(kept) > 1500


def test_the_story_goes_forward_in_time() -> None:
    times = [event.at for event in told()]
    assert times == sorted(times)


# ------------------------------------------------------------------------------- time and its doors


def test_before_it_knows_its_house_it_knows_nothing() -> None:
    engine = Engine(words())
    engine.take(Reading("t3-mid", DUSK, 10.0, DUSK))
    assert engine.drain().empty and engine.next_wake() == FAR_FUTURE
    engine.wake(DUSK + HOUR)
    assert engine.now == DUSK + HOUR


def test_it_says_when_it_wants_to_be_woken() -> None:
    """The next ring of a ladder is its next deadline, to the second."""
    bell = Bell(at=moment("2026-02-02T02:00"))
    bell.find("tank-3", "warm")
    assert bell.engine.next_wake() == bell.now + 10 * MINUTE
    bell.on(10)
    assert bell.engine.next_wake() == bell.now + 20 * MINUTE


@pytest.mark.parametrize("woken", [True, False])
def test_what_falls_due_at_a_moment_comes_before_the_facts_of_that_moment(woken: bool) -> None:
    """Whether the loop looked in between or took both at once: else a replay told another story."""
    night = mashing()
    night.take(Impaired("journal", True, night.now, "disk full"))
    if woken:
        night.wake(night.now)
    night.take(Impaired("journal", False, night.now))
    night.wake(night.now)
    assert night.steps("watch/journal-failing") == ["raised", "returned"]


def test_a_ring_carries_the_time_at_which_it_was_due() -> None:
    """Though the loop got round to it an hour late."""
    bell = Bell(at=moment("2026-02-02T02:00"))
    bell.find("tank-3", "warm")
    bell.on(70)
    assert [page.at - bell.now + 70 * MINUTE for page in bell.pages("aki")] == [0, 600, 3600]


def test_a_fact_that_comes_behind_its_time_counts_from_now() -> None:
    night = mashing()
    night.run(10)
    night.take(Reading("t3-mid", DUSK, 10.2, DUSK))
    kept = night.facts[-1]
    assert isinstance(kept, Reading) and (kept.at, kept.received) == (DUSK, night.now)


# ----------------------------------------------------------------------------------- faults of ours


class Broken(Detector):
    """It fails at its first looks."""

    __slots__ = ("looked",)

    def __init__(self, night: Night) -> None:
        super().__init__(night.engine.view, lambda conclusion: None, "tank-3")
        self.looked: list[float] = []

    def look(self, now: float) -> float:
        self.looked.append(now)
        if len(self.looked) < 3:
            raise ZeroDivisionError("a fault of ours")
        return FAR_FUTURE


def broken_at(night: Night, at: float) -> None:
    """Something falls due that nobody knows how to do."""
    night.engine.deadlines.add(at, None)  # type: ignore[arg-type]


def test_a_fact_is_taken_though_a_deadline_before_it_failed() -> None:
    """It is kept for the journal and it counts: the broker will be told that it is safe."""
    bell = Bell(at=moment("2026-02-02T02:00"))
    broken_at(bell, bell.now + 30)
    stir = Logged("s1", "tank-3", Stir(), bell.now + 60, bell.now + 60)
    with pytest.raises(ExceptionGroup):
        bell.engine.take(stir)
    bell._drained()
    assert stir in bell.facts
    assert bell.engine.view.masked("tank-3", bell.now + 60) == bell.now + 60 + 30 * MINUTE


def test_every_other_deadline_runs_at_its_own_time() -> None:
    """Three that fail, before, at and after a ring of the ladder, and all three are told."""
    bell = Bell(at=moment("2026-02-02T02:00"))
    bell.find("tank-3", "warm")
    began = bell.now
    for minutes in (5, 10, 25):
        broken_at(bell, began + minutes * MINUTE)
    with pytest.raises(ExceptionGroup) as told:
        bell.engine.wake(began + 30 * MINUTE)
    bell._drained()
    assert len(told.value.exceptions) == 3
    assert bell.rings(began) == [(0, "aki"), (10, "aki"), (30, "bun")]
    assert bell.engine.now == began + 30 * MINUTE


def test_a_detector_that_failed_looks_again() -> None:
    """A fault that passes must not make it blind for ever."""
    bell = Bell(at=moment("2026-02-02T02:00"))
    broken, began = Broken(bell), bell.now
    bell.engine.timers.want(broken, began + MINUTE)
    with pytest.raises(ExceptionGroup):
        bell.engine.wake(began + HOUR)
    assert [(at - began) / MINUTE for at in broken.looked] == [1, 11, 21]


class Eager(Broken):
    """It wants to look at the moment at which it looks."""

    def look(self, now: float) -> float:
        self.looked.append(now)
        return now


def test_a_detector_that_would_look_for_ever_holds_up_nobody() -> None:
    """It is a fault of ours, told as one; the others go on, and it looks again later."""
    bell = Bell(at=moment("2026-02-02T02:00"))
    eager, began = Eager(bell), bell.now
    bell.find("tank-3", "warm")
    bell.engine.timers.want(eager, began + MINUTE)
    with pytest.raises(ExceptionGroup) as told:
        bell.engine.wake(began + 25 * MINUTE)
    assert "Eager of tank-3" in str(told.value.exceptions[0])
    assert [(at - began) / MINUTE for at in eager.looked] == [1, 11, 21]
    bell._drained()
    assert bell.rings(began) == [(0, "aki"), (10, "aki")]


# ----------------------------------------------------------------------------------------- readings


def test_a_reading_told_twice_is_one_reading() -> None:
    night = mashing()
    for value in (10.1, 10.1, 10.4):
        night.say("t3-mid", json.dumps({"value": value, "at": DUSK}))
    kept = [fact for fact in night.facts if isinstance(fact, Reading)]
    assert [fact.value for fact in kept] == [10.1], "the first is kept"
    assert night.conflicts == 1


@pytest.mark.parametrize("code", [85.0, 0.0])
def test_a_code_word_reached_by_a_jump_is_no_temperature(code: float) -> None:
    # DS18B20 data sheet and Linux w1_therm documentation (from memory): 85.0 at power-up; a dead
    # line reads 0.0
    night = mashing()
    night.run(10).say("t3-mid", code)
    assert "is a bus error code" in night.refusals()[-1]
    last = night.facts[-1]
    assert isinstance(last, Refusal) and last.wild and last.probe == "t3-mid"
    night.run(120)
    assert not night.steps()


@pytest.mark.parametrize("offset", [round(-2 + 0.13 * step, 2) for step in range(31)])
def test_a_code_word_is_known_beneath_the_probes_offset(offset: float) -> None:
    house = brewery()
    probes = tuple(msgspec.structs.replace(probe, offset=offset) for probe in house.probes)
    night = Night(msgspec.structs.replace(house, probes=probes))
    for code in (85.0, 0.0):
        night.say("t3-mid", 10.0)
        night.now += 60
        night.say("t3-mid", code)
        assert len(night.refusals()) == 1, night.facts[-1]
        night.facts.clear()
        night.now += 60


def test_a_store_that_cools_to_nought_step_by_step_is_believed() -> None:
    night = mashing()
    for value in (2.0, 1.0, 0.0, -0.5):
        night.now += MINUTE
        night.say("s-air", value)
    assert not night.refusals()


def test_what_was_measured_while_it_was_dark_raises_nothing_by_itself() -> None:
    night = mashing()
    night.run(60).told["t3-mid"] = None
    night.run(120)
    night.say("t3-mid", backfill(night.now, 10.7, 100))
    night.run(60)
    assert not night.steps("tank-3/warm")


def test_but_counts_for_the_delay_once_a_current_reading_agrees() -> None:
    """Warm for an hour and a half already: it rings at once, not in an hour."""
    night = mashing()
    night.run(60).told["t3-mid"] = None
    night.run(120)
    night.say("t3-mid", backfill(night.now, 10.7, 100, until=2))
    night.told["t3-mid"] = 10.7
    night.run(2)
    raised = night.step("tank-3/warm", "raised")
    assert raised.at <= night.now and raised.value == pytest.approx(10.7, abs=0.05)


def test_a_current_reading_that_disagrees_leaves_it_at_that() -> None:
    night = mashing()
    night.run(60).told["t3-mid"] = None
    night.run(120)
    night.say("t3-mid", backfill(night.now, 10.7, 100))
    night.told["t3-mid"] = 10.0
    night.run(90)
    assert not night.steps("tank-3/warm")


def backfill(now: float, value: float, minutes: int, until: int = 11) -> str:
    """What a board kept while it was alone; up to eleven minutes ago it is all late."""
    return json.dumps(
        [{"value": value, "at": now - 60 * back} for back in range(minutes, until - 1, -1)]
    )


def test_a_kept_message_is_judged_by_nobody() -> None:
    """The broker hands it over at every start; nobody knows how old it is."""
    night = mashing()
    night.told["t3-mid"] = None
    night.run(5).say("t3-mid", 14.9, retained=True)
    assert night.engine.view.places["tank-3"].value is None
    night.told["t3-mid"] = 10.0
    night.run(90)
    assert not night.steps("tank-3/far-warm") and not night.steps("tank-3/warm")


def test_a_kept_message_is_no_sign_of_life() -> None:
    night = mashing()
    night.run(5).told["t3-mid"] = None
    for _ in range(20):
        night.run(1).say("t3-mid", 10.0, retained=True)
    assert night.steps("t3-mid/silent") == ["raised"]


def test_a_kept_message_is_not_in_the_record_of_the_night() -> None:
    """The morning report gives the warmest of the night, not the warmest that was ever kept."""
    night = mashing(at=moment("2026-02-02T05:00"))
    night.run(1).say("t3-mid", 13.0, retained=True)
    night.run(70)
    report = [word for word in night.messages("notice") if "Tank 3" in word.text]
    assert report and "13.0" not in report[0].text


def test_a_board_ahead_of_its_time_is_taken_when_it_was_heard() -> None:
    night = mashing()
    night.run(10)
    night.now += 30
    night.say("t3-mid", json.dumps({"value": 10.1, "at": night.now + 600}))
    kept = night.facts[-1]
    assert isinstance(kept, Reading) and (kept.at, kept.sent) == (night.now, night.now + 600)
    night.run(30)
    assert not night.steps("watch/clock-wrong")


def test_if_most_boards_are_ahead_it_is_the_watch_that_is_behind() -> None:
    """Their time is believed, and somebody is told to set the clock."""
    night = mashing()
    for probe in ("t3-mid", "t4-mid", "s-air"):
        night.say(probe, json.dumps({"value": 10.0 if probe != "s-air" else 5.0,
                                     "at": night.now + 20 * MINUTE}))  # fmt: skip
    night.run(1)
    assert night.steps("watch/clock-wrong") == ["raised"]
    night.say("t3-mid", json.dumps({"value": 10.1, "at": night.now + 20 * MINUTE}))
    kept = night.facts[-1]
    assert isinstance(kept, Reading) and kept.at == night.now + 20 * MINUTE


def test_a_board_of_another_century_is_wrong_by_itself_even_then() -> None:
    """While the watch's own clock is doubted, a time far beyond what most say is not believed."""
    night = mashing()
    for probe in ("t3-mid", "t4-mid", "s-air"):
        night.say(probe, json.dumps({"value": 10.0 if probe != "s-air" else 5.0,
                                     "at": night.now + 20 * MINUTE}))  # fmt: skip
    night.run(1)
    night.say("t3-mid", json.dumps({"value": 10.1, "at": "2099-12-31T23:59:59Z"}))
    kept = night.facts[-1]
    assert isinstance(kept, Reading) and kept.at == night.now


def test_a_board_that_repeats_itself_decides_nothing_that_the_journal_lacks() -> None:
    """Boards ahead of time whose last message the broker brings again and again."""
    first, journal = Engine(words()), []
    first.take(HouseChanged(DUSK, to_document(HOUSE)))
    for minute in range(60):
        for probe in ("t3-mid", "t4-mid", "b1-mid"):
            at = DUSK + 60 * minute
            first.take(Reading(probe, at, 10.0, at, sent=DUSK + 2 * HOUR))
    first.wake(DUSK + HOUR)
    turn = first.drain()
    again = Engine(words())
    for fact in turn.facts:
        again.take(fact)
    again.wake(DUSK + HOUR)
    journal = again.drain().story
    assert journal == turn.story


def test_a_probe_that_the_house_lacks_is_kept_and_judged_by_nobody() -> None:
    night = mashing()
    stranger = Reading("t9-mid", DUSK, 50.0, DUSK)
    night.take(stranger)
    assert night.facts[-1] == stranger and not night.steps()


# --------------------------------------------------------------------------- the house that changes


def test_a_house_read_anew_goes_on_where_it_was() -> None:
    """A restart with the same site file is no event: alarms, masks and ladders stay."""
    night = mashing(at=moment("2026-02-02T01:00"))
    night.run(10).told["t3-mid"] = 10.7
    night.run(75)
    rings = night.rings()
    night.change(night.house)
    night.run(60)
    assert night.steps("tank-3/warm") == ["raised"]
    assert len(night.rings()) > len(rings), "the ladder goes on"


def test_a_tank_taken_from_the_house_leaves_the_list() -> None:
    night = mashing()
    night.run(10).told["t3-mid"] = 10.7
    night.run(75).change(without(night.house, "tank-3", "t3-mid"))
    assert night.steps("tank-3/warm")[-1] == "out-of-service"
    night.told.pop("t3-mid")
    before = len(night.pages())
    night.run(120)
    assert len(night.pages()) == before


def test_a_tank_put_back_into_the_house_is_watched_again() -> None:
    night = mashing()
    whole = night.house
    night.run(10).told["t3-mid"] = 10.7
    night.run(75).change(without(whole, "tank-3", "t3-mid"))
    night.run(30).change(whole)
    before = len(night.pages())
    night.run(90)
    assert len(night.pages()) > before


def without(house: House, *names: str) -> House:
    return msgspec.structs.replace(
        house,
        places=tuple(place for place in house.places if place.id not in names),
        probes=tuple(probe for probe in house.probes if probe.id not in names),
    )


def test_a_new_probe_is_heard_from_when_it_is_there() -> None:
    night = mashing()
    more = Probe(id="t3-low", of="tank-3", measures="product")
    night.run(10).change(msgspec.structs.replace(night.house, probes=(*night.house.probes, more)))
    night.told["t3-low"] = 10.2
    night.run(10)
    value = night.engine.view.places["tank-3"].value
    assert value == pytest.approx(10.1, abs=0.05), "the median of two good probes"


def test_what_became_of_a_message_is_kept() -> None:
    night = mashing()
    fact: Fact = Delivered("r1", "aki", night.now, night.now, sent=True)
    night.take(fact)
    assert night.facts[-1] == fact and not night.steps()


# ------------------------------------------------------------------------------------ a quiet night


def test_a_night_as_planned_wakes_nobody() -> None:
    night = mashing()
    night.run(14 * 60)
    assert not night.steps() and not night.pages()


def test_a_stirred_tank_wakes_nobody() -> None:
    night = mashing()
    night.run(60).log("tank-3", "stir", by="dai")
    night.told["t3-mid"] = 10.65
    night.run(25).told["t3-mid"] = 10.0
    night.run(120)
    assert not night.steps()


def test_ten_months_in_which_nobody_watched_take_few_looks() -> None:
    """A summer's rest: nothing is heard, so that whoever is back need not wait for each look."""
    engine, looks = Engine(words()), 0
    for fact in facts():
        engine.take(fact)
    look = engine._look_next

    def counted() -> None:
        nonlocal looks
        looks += 1
        look()

    engine._look_next = counted  # type: ignore[method-assign]
    engine.take(Impaired("watch", True, engine.now))
    engine.wake(engine.now + 300 * DAY)
    assert looks < 600 * len(engine.registry.detectors), "one a day, and those of the first day"
    engine.take(Impaired("watch", False, engine.now))
    late = [
        one for one in engine.registry.detectors.values()
        if engine.now + 3 * HOUR < one.due < FAR_FUTURE
    ]  # fmt: skip
    assert {type(one) for one in late} <= {StageOverdue}, "all others are at it again"
