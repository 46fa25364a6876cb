"""When a product really left its plan, on tracks of a few hours."""

from __future__ import annotations

from fixtures.plants.plan import Plan, built_in
from fixtures.plants.truth import Moment, doubtful, exit_tells, exits, first_beyond, out_of_band

START = 1_770_000_000.0
HOUR = 3600.0
SINCE = 1_769_979_600.0 - 12 * 24 * HOUR
"""06:00 by the brewery's clock, twelve days before the brewery day of START."""


def plan() -> Plan:
    return Plan(built_in("moromi-slow-33"), "moromi", SINCE)


def track(means: list[float], tips: list[float] | None = None) -> list[Moment]:
    """One moment a minute, at so much above the plan."""
    made, curve = [], plan()
    for number, (mean, tip) in enumerate(zip(means, tips or means, strict=True)):
        at = START + 60 * number
        band = curve.at(at)
        made.append(Moment(at, band.planned + mean, band.planned + tip, band, band))
    return made


def ramp(to: float, minutes: int) -> list[float]:
    return [to * n / minutes for n in range(minutes)]


def test_a_product_on_its_plan_never_leaves_it() -> None:
    assert not exits("tank-1", track([0.0] * 600), 0.15)
    assert not doubtful("tank-1", track([0.0] * 600), 0.15)


def test_a_drift_leaves_at_its_tolerance_and_is_due_after_the_delay() -> None:
    (one,) = exits("tank-1", track(ramp(1.0, 600)), 0.15)
    assert one.side == "warm" and one.back is None and one.most == 0.5
    assert abs(one.left - (START + 300 * 60)) <= 120
    assert one.due is not None and one.due - one.left == HOUR
    assert one.sure is not None and one.sure > one.due
    assert one.near < one.left


def test_a_short_trip_is_no_more_than_may_be_told() -> None:
    (one,) = exits("tank-1", track([0.0] * 60 + [0.7] * 40 + [0.0] * 200), 0.15)
    assert one.due is None and one.back is not None
    told, trend = exit_tells(one, START + 300 * 60)
    assert told.rank == trend.rank == "right"


def test_a_sure_exit_must_be_told_and_its_trend_may() -> None:
    (one,) = exits("tank-1", track(ramp(1.5, 600) + [1.5] * 120), 0.15)
    told, trend = exit_tells(one, START + 720 * 60)
    assert told.rank == "must" and told.roles == ("brewer",) and told.wake
    assert told.must_by is not None and told.must_by > one.left + HOUR
    assert trend.since < one.left - 3 * HOUR


def test_an_exit_too_late_in_the_night_need_not_be_told_in_it() -> None:
    (one,) = exits("tank-1", track([0.0] * 500 + [0.8] * 70), 0.15)
    assert exit_tells(one, START + 570 * 60)[0].rank == "right"


def test_a_tip_that_stands_off_its_mash_is_arguable_and_no_exit() -> None:
    moments = track([0.3] * 300, [0.6] * 300)
    assert not exits("tank-1", moments, 0.15)
    assert {tell.rank for tell in doubtful("tank-1", moments, 0.15)} == {"arguable"}


def test_nothing_is_judged_while_an_addition_settles() -> None:
    curve = Plan(built_in("moromi-slow-33"), "odori", START - 24 * HOUR)
    curve.mark(START, "naka")
    curve.rice(START + HOUR)
    assert not curve.at(START + 3.9 * HOUR).judged
    assert curve.at(START + 4.1 * HOUR).judged
    assert curve.at(START + 4.1 * HOUR).planned < 8


def test_a_stage_logged_late_is_in_force_when_it_is_heard_of() -> None:
    curve = Plan(built_in("koji-tray-48"), "mori", START - 7 * HOUR)
    curve.mark(START, "naka-shigoto", START + 1200)
    assert curve.at(START + 600).planned == 36.0
    assert 34.8 < curve.at(START + 1800).planned < 36.0


def test_a_day_stage_counts_from_the_turn_of_the_brewery_day() -> None:
    assert plan().planned(SINCE) == 10.3
    assert plan().planned(SINCE + 6 * 24 * HOUR) == 10.0
    assert abs(plan().planned(SINCE + 6.5 * 24 * HOUR) - 9.9) < 1e-9


def test_a_clock_stage_hands_over_by_itself() -> None:
    curve = Plan(built_in("moromi-ordinary-20"), "soe", START)
    assert curve.stage(START + 23 * HOUR)[0].id == "soe"
    assert curve.stage(START + 25 * HOUR)[0].id == "odori"


def test_an_aim_bends_the_plan_and_then_shifts_the_course() -> None:
    curve = plan()
    at, by = SINCE + 5 * 24 * HOUR, SINCE + 6 * 24 * HOUR
    curve.aim(at, 9.6, by)
    assert curve.planned(at - 1) == plan().planned(at - 1)
    assert abs(curve.planned((at + by) / 2) - (plan().planned(at) + 9.6) / 2) < 1e-6
    assert abs(curve.planned(by + 24 * HOUR) - (plan().planned(by + 24 * HOUR) - 0.4)) < 1e-6


def test_a_day_of_the_mash_finds_its_stage() -> None:
    course = built_in("moromi-slow-33")
    for day, stage in ((2, "rise"), (9, "rise"), (10, "moromi"), (30, "moromi")):
        assert course.on_day(day, START)[0] == stage


def test_a_room_out_of_its_band_for_its_delay_may_be_told() -> None:
    room = [(START + 60 * n, 5.0 + (5.0 if 60 < n < 140 else 0.0)) for n in range(300)]
    (tell,) = out_of_band("room", ("warm", "cold"), room, (1.0, 8.0), HOUR)
    assert tell.conditions == ("warm",)
    assert first_beyond(room, 8.0, 30 * 60, START) == START + 91 * 60
    assert first_beyond(room, 8.0, 2 * HOUR, START) is None


def test_what_no_course_allows_may_be_told_even_while_an_addition_settles() -> None:
    curve = Plan(built_in("moromi-slow-33"), "odori", START - 24 * HOUR)
    curve.mark(START, "naka")
    moments = [
        Moment(START + 60 * n, 2.7, 2.7, curve.at(START + 60 * n), curve.at(START + 60 * n))
        for n in range(120)
    ]
    (one,) = exits("tank-1", moments, 0.15)
    assert one.side == "cold" and one.most == 0.3
