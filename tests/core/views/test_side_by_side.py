"""Two batches beside each other, day by day."""

from __future__ import annotations

from dataclasses import replace

from kuraban.core.units import DAY
from kuraban.core.views.batch_sheet import BatchSheet, BatchStay, SheetDay
from kuraban.core.views.side_by_side import (
    band,
    begins,
    course_of,
    likely,
    middle_of,
    pairs,
    ran_at,
)
from kuraban.core.views.snapshot import PlanLine


def stay(name: str, start: float, end: float | None = None, course: str = "slow") -> BatchStay:
    return BatchStay(
        place="tank-3", name=name, title=None, course=course, course_title={}, since=start,
        start=start, end=end, stage="moromi", stage_title={}, stage_since=start, day=1, hours=0.0,
    )  # fmt: skip


def sheet(start: float, mornings: list[float | None], before: int = 2) -> BatchSheet:
    """`before` days lie before the first moromi day."""
    days = []
    for number, morning in enumerate(mornings, 1):
        day = number - before if number > before else number - before - 1
        at = start + (number - 1) * DAY
        days.append(SheetDay(at=at, number=number, place="tank-3", day=day, morning=morning))
    line = ((start, 12.0), (start + 10 * DAY, 2.0))
    return BatchSheet(
        stay=stay("No. 9", start), morning=0.0, evening=0.0, days=tuple(days),
        plan=PlanLine(points=((start, 9.0), (start + 10 * DAY, 9.0)), first=line),
        measured=(), step=600.0,
    )  # fmt: skip


def test_days_are_laid_over_each_other_from_soe_or_from_tome() -> None:
    """The one that rested a day longer is a day apart by tome and not by soe."""
    one, other = sheet(0.0, [10.0, 11.0, 12.0]), sheet(400 * DAY, [10.5, 11.0, 12.0, 13.0], 3)
    by_soe = {day.number: day.apart("morning") for day in pairs(one, other, "soe")}
    assert by_soe == {1: -0.5, 2: 0.0, 3: 0.0, 4: None}
    by_tome = {day.number: day.apart("morning") for day in pairs(one, other, "tome")}
    assert by_tome == {-3: None, -2: -1.0, -1: -1.0, 1: -1.0}
    assert begins(one, "soe") == 0.0 and begins(one, "tome") == 2 * DAY


def test_a_course_is_laid_beside_as_it_was_at_first() -> None:
    """Before anybody drew it anew; it has no samples."""
    days = course_of(sheet(0.0, [None, None, None])).days
    assert [day.morning for day in days] == [12.0, 11.0, 10.0]
    assert all(day.baume is None for day in days)


def test_the_same_number_of_last_season_is_laid_beside_first() -> None:
    """Else the last of its course, else the last of all."""
    now = stay("No. 9", 800 * DAY)
    last, same = stay("No. 8", 780 * DAY, 795 * DAY), stay("No. 9", 440 * DAY, 470 * DAY)
    fast = stay("No. 30", 790 * DAY, 799 * DAY, "fast")
    assert likely(now, [fast, last, same]) == same
    assert likely(now, [fast, last]) == last
    assert likely(now, [fast]) == fast and likely(now, []) is None


def test_what_ran_a_year_ago_is_known() -> None:
    ran, later = stay("No. 9", 10 * DAY, 40 * DAY), stay("No. 10", 50 * DAY, 80 * DAY)
    assert ran_at((later, ran), 20 * DAY) == [ran]


def sampled(start: float, *baume: float) -> BatchSheet:
    days = tuple(
        SheetDay(at=start + n * DAY, number=n + 1, place="tank-3", day=n + 1, morning=10.0 + n,
                 baume=value, bmd=(n + 1) * value)
        for n, value in enumerate(baume)
    )  # fmt: skip
    return replace(sheet(start, []), days=days)


def test_the_best_are_a_band_from_the_least_to_the_most_of_each_day() -> None:
    """Of a day that only one of them had, that one's."""
    best = [sampled(0.0, 8.0, 7.0), sampled(50 * DAY, 8.4, 7.6, 6.0), sampled(90 * DAY, 7.8)]
    assert band(best, "baume", "tome") == [(1.0, 7.8, 8.4), (2.0, 7.0, 7.6), (3.0, 6.0, 6.0)]


def test_their_middle_lies_beside_a_batch_day_by_day() -> None:
    """The median, on the days of the batch beside which it is laid."""
    one = sheet(400 * DAY, [9.0, 9.5])
    best = [sampled(0.0, 8.0, 7.0), sampled(50 * DAY, 8.4), sampled(90 * DAY, 7.8)]
    middle = middle_of(one, best, "soe")
    assert [(day.number, day.baume) for day in middle.days] == [(1, 8.0), (2, 7.0)]
    assert begins(middle, "soe") == begins(one, "soe") == 400 * DAY
    assert middle.measured[0] == (400 * DAY, 10.0)
