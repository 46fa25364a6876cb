"""The plan of a batch: where it stands, what the course says, what the brewer made of it."""

from __future__ import annotations

from datetime import datetime
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kuraban.core.planned_curve import NEVER, Course, Mark, Planned, Redraw, Sides, Stage, spans_of
from kuraban.core.units import DAY, HOUR

TOKYO = ZoneInfo("Asia/Tokyo")
VIENNA = ZoneInfo("Europe/Vienna")
TURN = 6 * HOUR
SIDES = Sides(1.0, 1.0)


def moment(text: str, zone: ZoneInfo = TOKYO) -> float:
    return datetime.fromisoformat(text).replace(tzinfo=zone).timestamp()


def stage(
    name: str, length: float, *points: tuple[float, float], ends: str = "crew", anchor: str = "mark"
) -> Stage:
    return Stage(
        id=name,
        length=length,
        points=points,
        ends="clock" if ends == "clock" else "crew",
        anchor="day" if anchor == "day" else "mark",
        tolerance=SIDES,
        notice=SIDES,
        limit=SIDES,
        delay=HOUR,
        limit_delay=HOUR,
    )


MASH = Course(
    id="mash",
    day_one="tome",
    stages=(
        stage("soe", DAY, (0.0, 12.0), (DAY, 13.0)),
        stage("odori", DAY, (0.0, 13.0), (DAY, 14.0)),
        stage("naka", DAY, (0.0, 9.0), (DAY, 10.0)),
        stage("tome", DAY, (0.0, 7.0), (DAY, 8.0), ends="clock"),
        stage("rise", 2 * DAY, (0.0, 8.0), (2 * DAY, 12.0), ends="clock", anchor="day"),
        stage("hold", 5 * DAY, (0.0, 12.0), anchor="day"),
    ),
)
SOE = moment("2026-02-01T10:00")


def planned(
    *marks: Mark, redraws: tuple[Redraw, ...] = (), course: Course = MASH, zone: ZoneInfo = TOKYO
) -> Planned:
    return Planned(course, marks, redraws, TURN, zone)


def name_at(plan: Planned, at: float) -> str:
    return plan.standing(at).stage.id


# The curve of a stage.


@pytest.mark.parametrize(
    ("hours", "celsius"), [(-1, 12.0), (0, 12.0), (6, 12.25), (24, 13.0), (40, 13.0)]
)
def test_the_curve_is_straight_between_points_and_level_after(hours: float, celsius: float) -> None:
    """And level before the first."""
    assert MASH.stages[0].course_at(hours * HOUR) == pytest.approx(celsius)


def test_a_single_point_is_a_level_line() -> None:
    """A stage held at one temperature."""
    assert MASH.stages[5].course_at(3 * DAY) == 12.0


@given(st.floats(-DAY, 5 * DAY))
def test_the_curve_stays_between_its_points(elapsed: float) -> None:
    """No overshoot between points, none beyond them."""
    assert 8.0 <= MASH.stages[4].course_at(elapsed) <= 12.0


def test_a_stage_is_found_by_its_id() -> None:
    """Or not at all."""
    assert MASH.index("naka") == 2
    assert MASH.index("yodan") is None
    assert MASH.never == NEVER


# Stages: by the crew, by the clock, held, taken over.


def test_a_stage_of_the_crew_goes_on_until_the_next_is_logged() -> None:
    """Late is late, but the odori does not end because a clock says so."""
    plan = planned(Mark(1, SOE))
    assert name_at(plan, SOE + 3 * DAY) == "odori"
    assert plan.standing(SOE + 3 * DAY).span.due == SOE + DAY
    assert plan.at(SOE + 3 * DAY) == 14.0
    assert not plan.ended(SOE + 300 * DAY)


def test_a_second_rest_day_puts_off_what_is_due() -> None:
    """The hold is the whole extension of the stage."""
    plan = planned(Mark(1, SOE, hold=DAY))
    assert plan.standing(SOE).span.due == SOE + 2 * DAY


def test_a_stage_of_the_clock_gives_way_by_itself() -> None:
    """And a hold makes it wait."""
    tome = moment("2026-02-04T10:00")
    assert name_at(planned(Mark(3, tome)), tome + DAY - 1) == "tome"
    assert name_at(planned(Mark(3, tome)), tome + DAY) == "rise"
    held = planned(Mark(3, tome, hold=DAY))
    assert name_at(held, tome + 2 * DAY - 1) == "tome"
    assert name_at(held, tome + 2 * DAY) == "rise"


def test_the_crew_may_be_quicker_than_the_clock() -> None:
    """What is logged counts."""
    tome = moment("2026-02-04T10:00")
    plan = planned(Mark(3, tome), Mark(4, tome + 12 * HOUR))
    assert name_at(plan, tome + 13 * HOUR) == "rise"
    assert [span.logged for span in plan.spans] == [True, True, False]


def test_after_a_last_stage_of_the_clock_the_batch_is_over() -> None:
    """Koji taken out need not be logged as ended."""
    koji = Course(
        id="koji",
        stages=(stage("saiko", HOUR, (0.0, 40.0)), stage("out", HOUR, (0.0, 40.0), ends="clock")),
    )
    plan = planned(Mark(0, SOE), Mark(1, SOE + HOUR), course=koji)
    assert not plan.ended(SOE + 2 * HOUR - 1)
    assert plan.ended(SOE + 2 * HOUR)


def test_elapsed_counts_from_the_mark() -> None:
    """An addition at ten is at ten."""
    plan = planned(Mark(0, SOE))
    assert plan.at(SOE + 12 * HOUR) == pytest.approx(12.5)


def test_elapsed_counts_from_the_turn_of_the_brewery_day() -> None:
    """A point a day stands at six in the morning, whenever the addition was."""
    tome = moment("2026-02-04T10:00")
    plan = planned(Mark(3, tome))
    assert plan.at(moment("2026-02-06T06:00")) == pytest.approx(10.0)
    assert name_at(plan, moment("2026-02-07T05:59")) == "rise"
    assert name_at(plan, moment("2026-02-07T06:00")) == "hold"


def test_a_stage_begun_before_six_belongs_to_the_day_before() -> None:
    """The brewery day turns at six, not at midnight."""
    begun = moment("2026-02-05T05:00")
    assert planned(Mark(4, begun)).elapsed(begun) == 23 * HOUR


def test_a_batch_is_taken_over_in_the_middle() -> None:
    """`since` says when its stage began; all before is as if it had been logged."""
    since = moment("2026-02-05T06:00")
    plan = planned(Mark(4, since))
    assert plan.at(since + DAY) == pytest.approx(10.0)
    assert plan.day(since) == 2


def test_marks_logged_out_of_order_are_laid_in_order() -> None:
    """People log late."""
    late = planned(Mark(2, SOE + 2 * DAY), Mark(0, SOE), Mark(1, SOE + DAY))
    assert [span.stage for span in late.spans] == [0, 1, 2]


def test_before_the_first_mark_the_first_stage_answers() -> None:
    """A chart drawn from an hour earlier has a line."""
    assert planned(Mark(0, SOE)).at(SOE - HOUR) == 12.0


@given(
    st.lists(
        st.tuples(st.integers(0, 5), st.floats(0, 20 * DAY), st.floats(0, 2 * DAY)),
        min_size=1,
        max_size=6,
    )
)
def test_spans_follow_one_another_without_gap(marks: list[tuple[int, float, float]]) -> None:
    """Whatever is logged, every moment has one stage."""
    laid = tuple(Mark(number, SOE + since, hold) for number, since, hold in marks)
    spans = spans_of(MASH, laid, TURN, TOKYO)
    assert spans
    for before, after in pairwise(spans):
        assert before.start <= before.end <= after.start
        if not after.logged:
            assert before.end == after.start


# The brewer re-draws.


def redraw(hours: float, celsius: float, by: float, then: str) -> Redraw:
    return Redraw(SOE + hours * HOUR, ((SOE + by * HOUR, celsius),), then)


@pytest.mark.parametrize(
    ("then", "later"),
    [("shift", 12.75 + 0.5), ("course", 12.75), ("level", 13.0)],
)
def test_an_aim_runs_straight_and_then_as_asked(then: str, later: float) -> None:
    """From the plan of the moment (12.25 at 6 h) to 13.0 at 12 h, the course being 12.5 there."""
    plan = planned(Mark(0, SOE), redraws=(redraw(6, 13.0, 12, then),))
    assert plan.at(SOE + 3 * HOUR) == pytest.approx(12.125)
    assert plan.at(SOE + 6 * HOUR) == pytest.approx(12.25)
    assert plan.at(SOE + 9 * HOUR) == pytest.approx(12.625)
    assert plan.at(SOE + 12 * HOUR) == pytest.approx(12.5 if then == "course" else 13.0)
    assert plan.at(SOE + 18 * HOUR) == pytest.approx(later)


def test_the_first_plan_stays_visible() -> None:
    """The faint line beneath."""
    plan = planned(Mark(0, SOE), redraws=(redraw(6, 15.0, 12, "level"),))
    assert plan.first(SOE + 18 * HOUR) == pytest.approx(12.75)


def test_every_moment_keeps_the_plan_that_was_in_force_then() -> None:
    """A later aim changes no judgement before it; it begins on the earlier one's line."""
    first = redraw(6, 13.0, 12, "shift")
    plan = planned(Mark(0, SOE), redraws=(redraw(18, 12.0, 24, "level"), first))
    alone = planned(Mark(0, SOE), redraws=(first,))
    for hours in (0, 6, 9, 12, 17.9, 18):
        assert plan.at(SOE + hours * HOUR) == pytest.approx(alone.at(SOE + hours * HOUR))
    assert plan.at(SOE + 21 * HOUR) == pytest.approx((13.25 + 12.0) / 2)


def test_a_plan_for_many_days_runs_through_its_points() -> None:
    """Straight between them, then shifted by the last difference."""
    points = ((SOE + 12 * HOUR, 12.0), (SOE + 18 * HOUR, 13.0))
    plan = planned(Mark(0, SOE), redraws=(Redraw(SOE, points, "shift"),))
    assert plan.at(SOE + 6 * HOUR) == pytest.approx(12.0)
    assert plan.at(SOE + 15 * HOUR) == pytest.approx(12.5)
    assert plan.at(SOE + 24 * HOUR) == pytest.approx(13.25)


def test_a_shift_ends_with_the_next_addition() -> None:
    """It lands where the recipe says, not where yesterday's mash stood."""
    aim = redraw(6, 14.0, 12, "shift")
    plan = planned(Mark(0, SOE), Mark(1, SOE + DAY), redraws=(aim,))
    assert plan.at(SOE + DAY - 1) == pytest.approx(14.5, abs=1e-3)
    assert plan.at(SOE + DAY) == 13.0


def test_a_shift_goes_along_when_a_stage_ends_by_the_clock() -> None:
    """Nothing happened to the mash at that hour."""
    tome = moment("2026-02-04T10:00")
    aim = Redraw(tome, ((tome + 12 * HOUR, 8.0),), "shift")
    plan = planned(Mark(3, tome), redraws=(aim,))
    later = tome + 2 * DAY
    assert name_at(plan, later) == "rise"
    assert plan.at(later) == pytest.approx(plan.first(later) + 0.5)


# Slope and days.


def test_the_slope_is_that_of_the_plan_in_force() -> None:
    """Degrees an hour."""
    plan = planned(Mark(0, SOE), redraws=(redraw(12, 13.5, 18, "level"),))
    assert plan.slope(SOE) == pytest.approx(1 / 24)
    assert plan.slope(SOE + 12 * HOUR) == pytest.approx(1 / 6)
    assert plan.slope(SOE + 20 * HOUR) == 0.0


def test_days_are_counted_minus_three_minus_two_minus_one_one() -> None:
    """The day of the third addition is day 1; there is no day 0."""
    marks = tuple(Mark(number, SOE + number * DAY) for number in range(4))
    plan = planned(*marks)
    assert [plan.day(SOE + passed * DAY) for passed in range(5)] == [-3, -2, -1, 1, 2]


def test_days_before_the_third_addition_are_expected_from_lengths() -> None:
    """And move when a second rest day is taken."""
    assert planned(Mark(0, SOE)).day(SOE) == -3
    assert planned(Mark(0, SOE), Mark(1, SOE + DAY)).day(SOE) == -3
    assert planned(Mark(0, SOE), Mark(1, SOE + DAY, hold=DAY)).day(SOE) == -4


def test_a_day_turns_at_six() -> None:
    """At five in the morning it is still yesterday's."""
    plan = planned(Mark(3, moment("2026-02-04T10:00")))
    assert plan.day(moment("2026-02-05T05:59")) == 1
    assert plan.day(moment("2026-02-05T06:00")) == 2


def test_a_course_without_a_first_day_counts_none() -> None:
    """Koji has hours."""
    assert planned(Mark(0, SOE), course=Course(id="koji", stages=MASH.stages)).day(SOE) is None


# Where clocks change.


@pytest.mark.parametrize("begun", ["2026-03-28T06:00", "2026-10-24T06:00"])
def test_days_turn_at_six_though_the_clock_was_changed(begun: str) -> None:
    """In the night from 28 March to 29 a day has 23 hours, from 24 October to 25 it has 25."""
    start = moment(begun, VIENNA)
    plan = planned(Mark(4, start), zone=VIENNA)
    due = datetime.fromtimestamp(plan.standing(start).span.due, VIENNA)
    assert (due.hour, (due.date() - datetime.fromisoformat(begun).date()).days) == (6, 2)
    assert plan.elapsed(due.timestamp()) == 0.0
    assert name_at(plan, due.timestamp()) == "hold"


def test_a_stage_of_hours_has_its_hours_though_the_clock_was_changed() -> None:
    """Koji does not grow faster for it."""
    start = moment("2026-03-28T20:00", VIENNA)
    plan = planned(Mark(3, start), zone=VIENNA)
    assert plan.standing(start).span.due - start == DAY


def test_what_lies_ahead_is_expected_by_the_lengths_between() -> None:
    """A stage that has begun at its time, the next when the present one is due, then each after the
    length of the one before; past the last stands the course's end, put off with the rest day."""
    plan = planned(Mark(0, SOE), Mark(1, SOE + DAY, hold=DAY))
    stages = plan.course.stages
    assert plan.begins(0) == SOE and plan.begins(1) == SOE + DAY
    expected = plan.spans[-1].due
    for number in range(plan.spans[-1].stage + 1, len(stages) + 1):
        assert plan.begins(number) == expected
        expected += stages[number].length if number < len(stages) else 0.0
