"""What is known of an alarm when its message is written."""

from __future__ import annotations

import random

import pytest

from kuraban.core.alarms import alarm_context
from kuraban.core.alarms.life_cycle import Alarm
from kuraban.core.forecast.time_to_limit import Hours
from kuraban.core.texts.alarm_facts import Situation
from kuraban.core.units import HOUR, MINUTE, show_time
from tests.core.house import DUSK, TOKYO, Bell, Night, mashing


def known(night: Night, subject: str, condition: str) -> Situation:
    return night.engine.notifier.writer.situation(
        night.engine.alarm_manager.alarms.get((subject, condition), Alarm(subject, condition)),
        night.now,
    )


def drifting(hours: float = 5) -> Night:
    """Tank 3 warms by 0.15 K an hour."""
    night = mashing()
    night.told["t3-mid"] = lambda at: 10.0 + 0.15 * max(at - DUSK - HOUR, 0) / HOUR
    return night.run(60 + hours * 60)


def test_a_warm_tank_is_told_with_its_batch_day_and_stage() -> None:
    told = known(drifting(), "tank-3", "warm")
    assert (told.name, told.kind, told.batch, told.stage) == ("Tank 3", "tank", "3", {"en": "main"})
    assert told.day == 3, "main follows tome, two days long, whose first day is day one"
    assert told.value == pytest.approx(10.75, abs=0.1) and told.planned == 10.0


def test_a_warm_tank_is_told_with_its_rate_and_the_hours_that_are_left() -> None:
    told = known(drifting(), "tank-3", "warm")
    assert told.rate == pytest.approx(0.15, abs=0.02)
    assert told.limit == 11.0 and told.hours_left is not None
    assert told.hours_left[0] <= (11.0 - 10.75) / 0.15 <= told.hours_left[1]


def test_the_latest_hour_is_never_much_more_than_twice_the_soonest() -> None:
    """A drift that is hardly sure would be told as "2 to 40 h", which helps nobody."""
    night = mashing()
    lots = random.Random(7)
    night.told["t3-mid"] = lambda at: (
        10.0 + 0.12 * max(at - DUSK - HOUR, 0) / HOUR + lots.gauss(0, 0.12)
    )
    capped = 0
    for _ in range(24):
        told = known(night.run(15), "tank-3", "warm")
        if told.hours_left is not None:
            assert told.hours_left[1] <= 2 * told.hours_left[0] + 6 + 1e-9
            capped += told.hours_left[1] == 2 * told.hours_left[0] + 6
    assert capped > 0


def test_on_its_way_out_the_edge_of_the_tolerance_comes_next() -> None:
    assert known(drifting(2), "tank-3", "trending-warm").limit == 10.5
    assert known(drifting(2), "tank-3", "trending-cold").limit == 9.5


def test_past_the_limit_no_further_edge_is_told() -> None:
    told = known(drifting(), "tank-3", "far-warm")
    assert (told.limit, told.hours_left) == (None, None)


def test_what_the_course_never_allows_comes_before_a_limit_beyond_it() -> None:
    night = mashing()
    night.log("tank-3", "aim", celsius=15.8, by=night.now + HOUR, then="level")
    night.run(90)
    assert known(night, "tank-3", "warm").limit == 16.0


def test_the_last_stir_and_the_last_work_are_told() -> None:
    night = mashing()
    night.log("tank-3", "stir", by="dai")
    night.run(10).log("tank-3", "addition", what="late-water", litres=20)
    told = known(night, "tank-3", "warm")
    assert told.last_stir == DUSK and told.last_work == ("late-water", DUSK + 10 * MINUTE)


def test_koji_and_starters_count_hours_and_no_day() -> None:
    night = Night()
    night.log("bed-1", "batch-start", batch="K", course="koji", since=DUSK - 31 * HOUR)
    told = known(night, "bed-1", "cold")
    assert told.hours == pytest.approx(31) and told.day is None
    assert told.cooler == "Koji heater"


def test_a_warm_tank_names_its_failing_cooler_and_who_has_that() -> None:
    bell = Bell()
    bell.find("chiller-1", "stopped", since=bell.now - HOUR)
    bell.log("chiller-1", "acknowledge", by="ken")
    told = known(bell, "tank-3", "warm")
    assert (told.cooler, told.service) == ("Chiller 1", "Ken, ext. 12")
    assert told.cooler_trouble == ("stopped", bell.now - HOUR) and told.cooler_in_hand == "Ken"
    bell.over("chiller-1", "stopped")
    assert known(bell, "tank-3", "warm").cooler_trouble is None


def test_a_store_is_told_with_the_edge_that_it_left() -> None:
    night = Night()
    assert known(night, "store", "warm").limit == 8.0
    assert known(night, "store", "cold").limit == 1.0


def test_a_cooler_is_told_with_whom_to_ring_and_whom_it_serves() -> None:
    told = known(mashing(), "chiller-1", "stopped")
    assert told.served == ("Tank 3", "Tank 4") and told.service == "Ken, ext. 12"
    assert (told.kind, told.unit) == ("chilled-water", "W")
    assert known(Night(), "chiller-1", "stopped").served == (), "of what is judged"


def test_a_probe_is_told_with_its_place() -> None:
    night = mashing()
    night.log("tank-3", "stir")
    told = known(night, "t3-mid", "displaced")
    assert (told.kind, told.place_name, told.measures) == ("probe", "Tank 3", "product")
    assert told.last_stir == DUSK


def test_the_watch_tells_of_itself_by_the_name_of_the_house() -> None:
    told = known(Night(), "watch", "clock-wrong")
    assert (told.kind, told.name, told.unit) == ("watch", "Nowhere demo brewery", "min")


def test_who_has_it_is_told() -> None:
    bell = Bell()
    bell.find("tank-3", "warm")
    bell.log("tank-3", "acknowledge", by="aki")
    assert known(bell, "tank-3", "warm").in_hand == "Aki"


def test_a_rate_is_of_the_product_and_not_of_its_difference_from_a_plan_that_moves() -> None:
    """Tank 3 stands at 10.0 while its plan goes up by 0.1 K an hour: it does not move at all."""
    night = mashing().run(60)
    points = [[show_time(night.now + h * HOUR, TOKYO), 10 + 0.1 * h] for h in (1, 20)]
    night.log("tank-3", "plan", points=points, by="aki")
    rate = known(night.run(300), "tank-3", "cold").rate
    assert rate == pytest.approx(0.0, abs=0.03)


def test_how_long_a_cooler_holds_is_told_and_of_a_heater_nothing() -> None:
    """Unknown where nothing shows how fast its tanks warm."""
    assert known(mashing(), "chiller-1", "stopped").hours_left is None
    assert known(mashing(), "heater-1", "not-heating").hours_left is None


def test_an_alarm_is_told_as_it_was_found() -> None:
    bell = Bell()
    bell.find("tank-3", "warm", value=10.8, since=DUSK - HOUR)
    told = known(bell, "tank-3", "warm")
    assert (told.at, told.value, told.since, told.unit) == (DUSK, 10.8, DUSK - HOUR, "°C")
    assert (told.in_hand, told.evidence) == (None, ())


def test_a_cooler_that_failed_without_anybody_is_named_without_anybody() -> None:
    """The first by name of what fails of it."""
    bell = Bell()
    for failing in ("warming", "stopped"):
        bell.find("chiller-1", failing, since=DUSK - HOUR)
    told = known(bell, "tank-3", "warm")
    assert told.cooler_trouble == ("stopped", DUSK - HOUR) and told.cooler_in_hand is None
    bell.find("chiller-1", "short-cycling")
    bell.over("chiller-1", "stopped")
    assert known(bell, "tank-3", "warm").cooler_trouble == ("warming", DUSK - HOUR)


def test_hours_beyond_a_day_are_not_told() -> None:
    """A degree at a thirtieth of a degree an hour: nobody knows what the cellar does by then."""
    night = mashing()
    night.told["t3-mid"] = lambda at: 10.0 + max(at - DUSK - HOUR, 0) / HOUR / 30
    told = known(night.run(5 * 60), "tank-3", "warm")
    assert told.rate == pytest.approx(1 / 30, abs=0.01)
    assert told.limit == 11.0 and told.hours_left is None


def test_a_rate_beside_a_plan_that_falls_is_of_the_product() -> None:
    """Tank 3 warms by 0.1 K an hour while its plan goes down by as much."""
    night = mashing()
    night.told["t3-mid"] = lambda at: 10.0 + 0.1 * max(at - DUSK - HOUR, 0) / HOUR
    night.run(60)
    points = [[show_time(night.now + h * HOUR, TOKYO), 10 - 0.1 * h] for h in (1, 20)]
    night.log("tank-3", "plan", points=points, by="aki")
    assert known(night.run(300), "tank-3", "warm").rate == pytest.approx(0.1, abs=0.03)


def test_the_hours_of_a_tank_that_cools_lead_to_the_limit_below() -> None:
    night = mashing()
    night.told["t3-mid"] = lambda at: 10.0 - 0.15 * max(at - DUSK - HOUR, 0) / HOUR
    told = known(night.run(360), "tank-3", "cold")
    assert told.rate == pytest.approx(-0.15, abs=0.02)
    assert told.limit == 9.0 and told.hours_left is not None
    assert told.hours_left[0] <= (9.25 - 9.0) / 0.15 <= told.hours_left[1]


def test_what_the_course_never_allows_below_comes_before_a_limit_beyond_it() -> None:
    night = mashing()
    night.log("tank-3", "aim", celsius=3.2, by=night.now + HOUR, then="level")
    night.run(90)
    assert known(night, "tank-3", "cold").limit == 3.0


def test_what_has_no_side_is_told_without_an_edge() -> None:
    told = known(drifting(), "tank-3", "unwatched")
    assert (told.limit, told.hours_left, told.batch) == (None, None, "3")


def test_a_step_is_told_as_one() -> None:
    """Of the watch's own clock: that it was put forward is no fault of its running."""
    bell = Bell()
    alarm = Alarm("watch", "clock-wrong")
    alarm.evidence = ("went=3600",)
    assert bell.engine.notifier.writer.situation(alarm, bell.now).kind == "step"


def test_a_trouble_whose_begin_nobody_knows_is_told_from_when_it_rang() -> None:
    bell = Bell()
    bell.find("chiller-1", "stopped")
    bell.engine.alarm_manager.alarms["chiller-1", "stopped"].since = None
    rang = bell.now
    bell.on(10)
    assert known(bell, "tank-3", "warm").cooler_trouble == ("stopped", rang)


def test_a_place_that_nothing_cools_names_no_cooler() -> None:
    told = known(Night(), "moto-1", "warm")
    assert told.cooler is None and told.cooler_trouble is None


def test_within_the_last_hour_before_its_limit_the_time_left_is_told() -> None:
    told = known(drifting(5.8), "tank-3", "warm")
    assert told.hours_left is not None and 0 < told.hours_left[0] < 1
    assert told.hours_left[0] < told.hours_left[1]


def test_a_soonest_hour_within_the_day_is_told_though_the_latest_is_not() -> None:
    night = mashing()
    lots = random.Random(7)
    night.told["t3-mid"] = lambda at: (
        10.0 + 0.04 * max(at - DUSK - HOUR, 0) / HOUR + lots.gauss(0, 0.05)
    )
    told = known(night.run(5 * 60), "tank-3", "warm")
    assert told.hours_left is not None and told.hours_left[0] < 24 < told.hours_left[1]


def test_a_cooler_is_told_with_how_long_it_holds_and_a_heater_is_not(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """What a heater keeps cools while it fails; how fast, nobody has seen."""
    left = Hours(soonest=5.0, latest=9.0, limit_soonest=8.0, limit_latest=12.0,
                 rests_on="own warm-ups", slow=0.02, fast=0.05)  # fmt: skip
    monkeypatch.setattr(alarm_context, "first_to_leave", lambda *_: ("tank-3", left))
    assert known(mashing(), "chiller-1", "stopped").hours_left == (5.0, 9.0)
    assert known(mashing(), "heater-1", "stopped").hours_left is None


def test_only_what_is_judged_by_a_band_is_told_so() -> None:
    assert known(Night(), "store", "warm").banded
    assert not known(Night(), "tank-3", "warm").banded
    assert not known(mashing(), "tank-3", "warm").banded
