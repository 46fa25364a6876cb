"""What the rings of some weeks cost, counted by hand beside it."""

from __future__ import annotations

import pytest

from kuraban.core.effects import Message, Step
from kuraban.core.entries import Verdict
from kuraban.core.facts import Logged
from kuraban.core.units import DAY, HOUR, MINUTE
from kuraban.queries.ring_review import Frequent, Rings, rings
from tests.core.house import DUSK, TOKYO

START, END = DUSK, DUSK + 30 * DAY


def step(at: float, name: str, alarm: str = "tank-3/warm", urgency: str = "wake") -> Step:
    subject, _, condition = alarm.partition("/")
    return Step(at=START + at, subject=subject, condition=condition, step=name, urgency=urgency)  # type: ignore[arg-type]


def page(at: float, *alarms: str, person: str = "aki", rung: int = 0, **more: str) -> Message:
    return Message(
        id=f"{at}-{person}-{rung}", at=START + at, step=more.get("step", "page"), role="brewer",  # type: ignore[arg-type]
        person=person, urgency=more.get("urgency", "wake"), title="", body="",  # type: ignore[arg-type]
        alarms=alarms or ("tank-3/warm",), rung=rung,
    )  # fmt: skip


def verdict(at: float, was: str, alarm: str = "tank-3/warm") -> Logged:
    entry = Verdict(alarm=alarm, was=was)  # type: ignore[arg-type]
    return Logged(f"v{at}", "watch", entry, START + at, START + at)


def over(
    steps: list[Step] | None = None,
    messages: list[Message] | None = None,
    said: list[Logged] | None = None,
) -> Rings:
    return rings(steps or [], messages or [], said or [], START, END, 6 * HOUR, TOKYO)


def test_a_quiet_month_has_nothing_to_count() -> None:
    quiet = over()
    assert (quiet.alarms, quiet.rings, quiet.most_in_10_min, quiet.in_flood) == (0, 0, 0, 0.0)
    assert quiet.answer_median is None and not quiet.wakes and quiet.days == 30


def test_what_only_goes_into_the_log_is_no_alarm() -> None:
    assert over([step(0, "raised", urgency="log"), step(9, "raised", urgency="duty")]).alarms == 1


def test_a_day_is_a_brewery_day() -> None:
    """Three before six in the morning and one after are two days."""
    steps = [step(hour * HOUR, "raised", f"tank-{hour}/warm") for hour in (1, 5, 11, 13)]
    counted = over(steps)
    assert counted.most_in_a_day == 3
    assert counted.alarms_a_day == pytest.approx(4 / 30)


def test_the_worst_ten_minutes_begin_anywhere() -> None:
    """Not only where a clock's ten minutes begin; two that are ten minutes apart are not in one."""
    times = [5 * MINUTE, 9 * MINUTE, 14.9 * MINUTE, 15 * MINUTE, 40 * MINUTE]
    steps = [step(at, "raised", f"tank-{at}/warm") for at in times]
    assert over(steps).most_in_10_min == 3


def test_a_flood_lasts_from_ten_in_ten_minutes_to_fewer_than_five() -> None:
    # ANSI/ISA-18.2-2016 clause 16, from memory: begins at 10 in 10 min, ends below 5 in 10 min
    times = [30 * number for number in range(12)]  # one every half minute; the tenth at 270 s
    found = over([step(at, "raised", f"p{at}/silent", "duty") for at in times])
    # The eighth leaves the ten minutes at 210 + 600 s; four are left then.
    assert found.in_flood * 30 * DAY == pytest.approx(210 + 600 - 270)
    assert found.crowded == pytest.approx(1 / (30 * 24 * 6))
    assert over([step(at, "raised", f"p{at}/silent") for at in times[:9]]).in_flood == 0


def test_an_alarm_that_stands_for_more_than_a_day_is_stale() -> None:
    steps = [
        step(0, "raised"), step(HOUR, "acknowledged"),
        step(2 * HOUR, "raised", "t3-mid/stuck", "duty"),
        step(20 * HOUR, "raised", "chiller-1/short-cycling", "duty"),
        step(25 * HOUR, "normal"),
        step(20 * HOUR + DAY, "normal", "chiller-1/short-cycling", "duty"),
    ]  # fmt: skip
    found = over(steps)
    assert found.stale == ("tank-3/warm", "t3-mid/stuck")
    assert found.stale_on_one_day == 1  # the tank is over an hour before the probe's day is full


def test_a_shelf_ends_the_standing() -> None:
    steps = [step(0, "raised"), step(HOUR, "shelved"), step(13 * HOUR, "unshelved"),
             step(30 * HOUR, "normal")]  # fmt: skip
    assert over(steps).stale == ()


def test_three_times_in_a_minute_is_chattering() -> None:
    # ISA-TR18.2.5, from memory: 3 or more in 60 s
    quick = [step(at, name) for at in (0, 20, 40) for name in ("raised",)]
    assert over(quick).chattering == ("tank-3/warm",)
    assert over([step(at, "raised") for at in (0, 31, 62)]).chattering == ()


def test_over_within_a_minute_is_fleeting() -> None:
    assert over([step(0, "raised"), step(59, "returned")]).fleeting == ("tank-3/warm",)
    assert over([step(0, "raised"), step(61, "returned")]).fleeting == ()
    assert over([step(0, "raised"), step(5, "acknowledged"), step(9, "normal")]).fleeting == ()


def test_the_most_frequent_come_first_with_their_share() -> None:
    steps = [step(n * DAY, "raised", "store/warm") for n in range(3)] + [step(4 * DAY, "raised")]
    found = over(steps)
    assert found.frequent == (Frequent("store/warm", 3, 0.75), Frequent("tank-3/warm", 1, 0.25))
    assert found.share_of_top == 1.0


def test_urgencies_are_shares_of_all() -> None:
    steps = [step(n, "raised", f"p{n}/silent", "duty") for n in range(3)] + [step(9, "raised")]
    assert over(steps).urgencies == {"wake": 0.25, "duty": 0.75}


def test_an_answer_is_timed_from_the_first_ring() -> None:
    """Repeats do not start the clock anew, and what ended by itself was not answered."""
    steps = [
        step(0, "raised"), step(12 * MINUTE, "acknowledged"),
        step(DAY, "raised", "store/warm"), step(DAY + HOUR, "returned", "store/warm"),
        step(DAY + 2 * HOUR, "normal", "store/warm"),
        step(2 * DAY, "raised"), step(2 * DAY + 2 * MINUTE, "acknowledged"),
    ]  # fmt: skip
    pages = [page(0), page(10 * MINUTE, rung=1), page(DAY, "store/warm", person="ken"),
             page(2 * DAY)]  # fmt: skip
    found = over(steps, pages)
    assert (found.answered, found.unanswered) == (2, 1)
    assert (found.answer_median, found.answer_longest) == (7 * MINUTE, 12 * MINUTE)
    assert found.wakes == {"aki": 3, "ken": 1}


def test_repeats_of_one_alarm_are_one_wake_of_the_night() -> None:
    pages = [page(8 * HOUR), page(8.2 * HOUR, rung=1), page(9 * HOUR, "tank-4/cold"),
             page(2 * DAY + 8 * HOUR)]  # fmt: skip
    assert over(None, pages).most_wakes_in_a_night == {"aki": 2}


def test_each_verdict_is_about_the_latest_ring_before_it() -> None:
    """And whoever was rung on any rung of it was rung needlessly."""
    pages = [page(0), page(30 * MINUTE, rung=2, person="bun"), page(DAY), page(3 * DAY),
             page(4 * DAY, "store/warm", person="ken")]  # fmt: skip
    said = [verdict(12 * HOUR, "needless"), verdict(DAY + HOUR, "right"),
            verdict(DAY + 2 * HOUR, "late")]  # fmt: skip
    found = over(None, pages, said)
    assert found.verdicts == {"right": 0, "needless": 1, "late": 1, "unsaid": 2}
    assert found.needless_by_person == {"aki": 1, "bun": 1}


def test_a_notice_rings_nobody() -> None:
    found = over(None, [page(0, step="notice"), page(0, urgency="duty")])
    assert (found.rings, found.wakes) == (1, {})
