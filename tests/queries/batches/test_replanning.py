"""A plan drawn anew, and what is asked back."""

from __future__ import annotations

import pytest

from kuraban.core import entries as e
from kuraban.core.plan.subject_state import Batch
from kuraban.core.planned_curve import Mark
from kuraban.core.units import DAY, HOUR, parse_time
from kuraban.queries.batches.replanning import redrawn, redrawn_questions
from tests.journals import house

T0 = parse_time("2026-01-20T06:00:00+09:00")
NOW = T0 + 3 * DAY


@pytest.fixture
def batch() -> Batch:
    """A mash in its level stretch: 10.3 °C from day 10 on, never below 3 nor above 16."""
    course = house().course["moromi-slow-33"]
    made = Batch("No. 21", course, e.BatchStart(batch="No. 21", course=course.id), T0)
    made.marks = [Mark(course.index("moromi") or 0, T0)]
    made.lay(house())
    return made


def test_the_plan_runs_straight_through_the_mornings_and_then_as_the_course(batch: Batch) -> None:
    """Shifted by what the last morning differs from it; the batch itself stays as it was."""
    plan = redrawn(house(), batch, NOW, ((NOW + DAY, 9.8), (NOW + 2 * DAY, 9.6))).plan
    assert plan.at(NOW + DAY / 2) == pytest.approx((batch.plan.at(NOW) + 9.8) / 2)
    assert plan.at(NOW + 2 * DAY) == pytest.approx(9.6)
    shift = 9.6 - batch.plan.first(NOW + 2 * DAY)
    assert plan.at(NOW + 6 * DAY) == pytest.approx(batch.plan.first(NOW + 6 * DAY) + shift)
    assert not batch.redraws


def test_mornings_gone_by_draw_nothing(batch: Batch) -> None:
    plan = redrawn(house(), batch, NOW, ((NOW - DAY, 5.0),)).plan
    assert plan.at(NOW + DAY) == batch.plan.at(NOW + DAY)


@pytest.mark.parametrize(
    ("points", "keys"),
    [
        (((DAY, 10.0), (2 * DAY, 9.5)), []),
        (((DAY, 7.5),), []),
        (((DAY, 17.0),), ["above", "jump"]),
        (((DAY, 2.0),), ["below", "jump"]),
        (((DAY, 9.0), (2 * DAY, 12.0)), ["jump"]),
        (((HOUR, 9.8),), []),
        (((HOUR, 8.0),), ["jump"]),
    ],
)
def test_what_no_mash_can_follow_is_asked_about(
    batch: Batch, points: tuple[tuple[float, float], ...], keys: list[str]
) -> None:
    """Up 2.5 or down 3 degrees within a day (common practice), and never beyond never."""
    ahead = tuple((NOW + after, celsius) for after, celsius in points)
    assert [one.key for one in redrawn_questions("tank", batch, NOW, ahead)] == keys


def test_a_starter_may_climb_faster_than_a_mash(batch: Batch) -> None:
    """Warm casks lift it by degrees within a day (common practice)."""
    points = ((NOW + DAY, 15.9),)
    assert [one.key for one in redrawn_questions("starter", batch, NOW, points)] == []
