"""A step of the wall clock, wherever it falls: everything runs on, and people read the new time."""

from __future__ import annotations

import json
import random
from collections.abc import Callable
from functools import cache

import pytest

from kuraban.core.effects import Message, Step
from kuraban.core.engine.engine import Engine
from kuraban.core.facts import ClockStepped, Fact, Impaired, Reading
from kuraban.core.units import DAY, HOUR, MINUTE, show_time
from tests.core.house import Night, mashing, moment, words

HOURS: dict[str, tuple[float, ...]] = {
    "an hour back": (-HOUR,),
    "nine hours back": (-9 * HOUR,),
    "an hour forward": (HOUR,),
    "three days back": (-3 * DAY,),
    "three days forward": (3 * DAY,),
    "there and back": (9 * HOUR, -9 * HOUR),
    "to and fro": (2.0, -90.0, 3600.0, -7.0, -3600.0, 30.0),
}
BEGIN = moment("2026-02-02T01:00")
STEPS = pytest.mark.parametrize("steps", HOURS.values(), ids=HOURS)
Event = tuple[float, str, str]


def stepping(night: Night, steps: tuple[float, ...], apart: float = 1.0) -> Night:
    """All of them, `apart` minutes from one to the next."""
    for by in steps:
        night.put_forward(by).run(apart)
    return night


def story(night: Night) -> list[Event]:
    """What was told of alarms but for the clock's own, minutes since the night began."""
    found = []
    for event in night.story:
        alarms = (event.alarm,) if isinstance(event, Step) else event.alarms
        who = event.alarm if isinstance(event, Step) else event.person
        if alarms and alarms != ("watch/clock-wrong",):
            found.append((round((event.at - BEGIN) / MINUTE, 3), event.step, who))
    return found


def drifting(*, answered: float | None = None) -> Night:
    night = mashing(at=BEGIN)
    night.run(10).told["t3-mid"] = 10.7
    if answered is not None:
        night.run(answered).log("tank-3", "acknowledge", condition="warm", for_="40m", by="aki")
    return night


@cache
def undisturbed(answered: float | None, minutes: float) -> tuple[Event, ...]:
    return tuple(story(drifting(answered=answered).run(minutes)))


# Delays, ladders, promises, masks, shelves.


@STEPS
@pytest.mark.parametrize("after", [1, 30, 58, 65, 75, 100])
def test_a_drift_is_told_and_told_again_as_without_the_step(
    steps: tuple[float, ...], after: int
) -> None:
    """Whether the clock goes in the middle of the delay or of the ladder."""
    night = drifting().run(after)
    night = stepping(night, steps).run(180 - after - len(steps))
    assert story(night) == list(undisturbed(None, 180))
    assert night.steps("tank-3/warm") == ["raised"]


@STEPS
def test_who_promised_to_have_it_right_by_then_is_held_to_it(steps: tuple[float, ...]) -> None:
    night = drifting(answered=75)
    night = stepping(night.run(20), steps).run(100 - len(steps))
    assert story(night) == list(undisturbed(75, 120))
    assert "realarmed" in night.steps("tank-3/warm")


@STEPS
def test_a_stir_masks_as_long_as_it_masks(steps: tuple[float, ...]) -> None:
    def stirred(by: tuple[float, ...]) -> list[Event]:
        night = mashing(at=BEGIN).run(10)
        night.log("tank-3", "stir", by="dai")
        night.told["t3-mid"] = 11.3
        return story(stepping(night.run(10), by).run(120 - len(by)))

    assert stirred(steps) == stirred(()) != []


@STEPS
def test_a_shelf_ends_when_it_was_to_end(steps: tuple[float, ...]) -> None:
    def shelved(by: tuple[float, ...]) -> list[Event]:
        night = drifting().run(75)
        night.log("tank-3", "shelve", condition="warm", for_="2h", by="aki")
        return story(stepping(night.run(30), by).run(150 - len(by)))

    found = shelved(steps)
    assert found == shelved(())
    assert [event[1] for event in found].count("unshelved") == 1


def test_many_small_steps_are_no_news() -> None:
    """A clock that somebody drags along by seconds disturbs nothing and rings nobody."""
    chance = random.Random(7)
    night = drifting()
    for _ in range(180):
        night.put_forward(float(chance.randint(-30, 30))).run(1)
    assert story(night) == list(undisturbed(None, 180))
    assert not night.steps("watch/clock-wrong")


@STEPS
def test_no_step_makes_probes_silent_or_a_part_of_the_watch_fail(steps: tuple[float, ...]) -> None:
    night = stepping(mashing(at=BEGIN).run(20), steps).run(90)
    assert {step.partition(" ")[0] for step in night.steps()} <= {"watch/clock-wrong"}


# Senders' times.


def boards(night: Night, clock: Callable[[float], float], minutes: int) -> Night:
    """Boards that send the time of their own `clock`, which they are asked for by the watch's."""
    for _ in range(minutes):
        night.now += MINUTE
        for probe, value in (("t3-mid", 10.7), ("t4-mid", 10.0), ("s-air", 5.0)):
            wiggle = 0.02 * (int(night.now / MINUTE) % 2)
            told = {"value": value + wiggle, "at": clock(night.now)}
            night.say(probe, json.dumps(told))
    night.wake(night.now)
    return night


@pytest.mark.parametrize("by", [-HOUR, -9 * HOUR, HOUR, 3 * DAY, -3 * DAY])
@pytest.mark.parametrize("true", [True, False], ids=["their own clocks", "clocks that go along"])
def test_a_board_that_sends_its_time_is_believed_on_both_sides(by: float, true: bool) -> None:
    """Whether its clock went along with the step or never did: a drift is told at its delay."""
    night = mashing(at=BEGIN)
    night.told.clear()
    boards(night, lambda at: at, 30).put_forward(by)
    boards(night, (lambda at: at) if true else (lambda at: at + night.ahead), 60)
    raised = [e.at for e in night.story if isinstance(e, Step) and e.alarm == "tank-3/warm"]
    assert [(at - BEGIN) // MINUTE for at in raised] == [61.0]
    late = [fact for fact in night.facts if isinstance(fact, Reading) and fact.late]
    assert not late


def test_an_entry_is_dated_by_the_clock_as_it_stands() -> None:
    """ "At ten past two" by a clock that went an hour back is that, and not an hour ago."""
    night = mashing(at=BEGIN).run(60)
    night.put_forward(-HOUR)
    night.log("tank-3", "stir", at="2026-02-02T00:50:00+09:00")
    night.log("tank-4", "aim", celsius=9.0, by="2026-02-02T06:00:00+09:00")
    log = night.engine.view.entry_log
    assert log.about("tank-3")[-1].at == BEGIN + 50 * MINUTE
    aim = log.about("tank-4")[-1].entry
    assert getattr(aim, "by") == moment("2026-02-02T06:00") + HOUR  # noqa: B009


def test_a_correction_is_dated_by_it_too() -> None:
    night = mashing(at=BEGIN).run(60)
    night.put_forward(HOUR)
    aim = night.log("tank-4", "aim", celsius=9.0, by="2026-02-02T06:00:00+09:00")
    night.log("tank-4", "amend", of=aim, fields={"by": "2026-02-02T07:00:00+09:00"})
    plan = night.engine.view.batch("tank-4", night.now)
    assert plan is not None
    assert plan.plan.at(moment("2026-02-02T07:00") - HOUR) == pytest.approx(9.0)


# What people read.


def test_a_message_right_after_a_step_says_the_time_of_the_wall_clock() -> None:
    """ "Since 02:20" of what left its band twenty minutes before, by the clock that now says so."""
    night = drifting().run(40)
    night.put_forward(-9 * HOUR).run(40)
    page = night.pages("aki")[0]
    assert "Since 16:1" in page.body
    assert show_time(page.at, night.house.zone).startswith("2026-02-01T17:1")


def test_people_of_maintenance_are_told_once_from_what_to_what() -> None:
    night = mashing(at=BEGIN).run(30)
    night.put_forward(-HOUR).run(300)
    assert night.steps("watch/clock-wrong") == ["raised", "returned"]
    (page,) = night.pages()
    assert page.person == "ken"
    assert page.title.endswith("the watch's clock went from 01:30 to 00:30")


def test_a_step_over_midnight_says_the_day() -> None:
    night = mashing(at=BEGIN).run(30)
    night.put_forward(-9 * HOUR).run(10)
    assert night.pages()[0].title.endswith("from 2026-02-02 01:30 to 2026-02-01 16:30")


def test_a_clock_that_is_put_right_again_rings_nobody_twice() -> None:
    night = mashing(at=BEGIN).run(30)
    night.put_forward(-HOUR).run(10)
    night.put_forward(HOUR + 20.0).run(10)
    night.put_forward(-HOUR).run(300)
    assert len(night.pages()) == 1
    assert night.steps("watch/clock-wrong") == ["raised", "returned"]


def test_a_much_larger_step_is_told_all_the_same() -> None:
    night = mashing(at=BEGIN).run(30)
    night.put_forward(-HOUR).run(2)
    night.put_forward(-9 * HOUR).run(60)
    assert len(night.pages()) == 2
    assert night.steps("watch/clock-wrong") == ["raised", "returned", "realarmed", "returned"]


def test_hours_later_a_step_is_news_again() -> None:
    night = mashing(at=BEGIN).run(30)
    night.put_forward(-HOUR).run(7 * 60)
    night.put_forward(HOUR).run(30)
    assert len([page for page in night.pages() if page.alarms == ("watch/clock-wrong",)]) == 2


def test_less_than_a_minute_is_nobodys_business() -> None:
    night = mashing(at=BEGIN).run(30)
    assert not night.put_forward(-59.0).run(60).pages()


# Duty hours and the brewery day.


def test_duty_hours_go_by_the_wall_clock() -> None:
    """At one in the night a worn wick waits; if the clock says it is ten, it does not."""
    night = mashing(at=BEGIN).run(30)
    night.put_forward(9 * HOUR).run(1)
    night.told["s-air"] = None
    night.run(30)
    silent = [page for page in night.pages() if page.alarms == ("s-air/silent",)]
    assert [page.person for page in silent] == ["ken"]


def test_the_day_of_the_mash_turns_by_the_wall_clock() -> None:
    night = mashing(at=BEGIN).run(30)
    night.log("tank-3", "batch-end")
    night.log("tank-3", "batch-start", batch="9", course="mash", stage="tome")
    batch = night.engine.view.batch("tank-3", night.now)
    assert batch is not None and batch.plan.day(night.now) == 1
    night.run(1).put_forward(5 * HOUR)
    batch = night.engine.view.batch("tank-3", night.now)
    assert batch is not None
    assert batch.plan.day(night.now + 23.5 * HOUR) == 2, "the turn at six is behind it"


# The same again from the journal.


def again(facts: list[Fact], until: float) -> list[Step | Message]:
    engine = Engine(words())
    for fact in facts:
        engine.take(fact)
    engine.wake(until)
    return engine.drain().story


@STEPS
def test_what_the_journal_holds_decides_alike(steps: tuple[float, ...]) -> None:
    night = drifting().run(30)
    boards(stepping(night, steps), lambda at: at + night.ahead, 20)
    night.log("tank-3", "acknowledge", by="aki", at=show_time(night.now, night.house.zone))
    night.run(24 * 60)
    assert again(night.facts, night.now) == night.story


def test_a_step_before_the_house_is_known_is_not_lost() -> None:
    """A watch that is warmed up from its last hours hears first how the clock stands."""
    night = Night(at=BEGIN)
    engine = Engine(words())
    engine.take(ClockStepped(BEGIN - DAY, HOUR, HOUR, BEGIN - 2 * DAY))
    for fact in night.facts:
        engine.take(fact)
    assert show_time(BEGIN, engine.view.house.zone) == "2026-02-02T02:00:00+09:00"


def test_the_same_state_told_again_changes_nothing() -> None:
    night = mashing(at=BEGIN).run(30)
    night.put_forward(HOUR).run(30)
    house, before = night.engine.view.house, night.steps()
    night.take(ClockStepped(night.now, 0.0, HOUR, night.began))
    assert night.engine.view.house is house and night.steps() == before


def test_a_watch_that_was_asleep_says_so_and_means_no_silence() -> None:
    """Elapsed time goes on while a machine sleeps; nobody watched then."""
    night = mashing(at=BEGIN).run(30)
    slept = night.now
    night.now += 3 * HOUR
    night.take(Impaired("watch", True, slept))
    night.take(Impaired("watch", False, night.now))
    night.run(60)
    assert not night.steps()
    assert any("01:30" in notice.title for notice in night.messages("notice"))
