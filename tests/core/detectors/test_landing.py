"""A landing that is not where the figures say is told to the crew; a good one is nobody's news."""

from __future__ import annotations

import msgspec
import pytest

from kuraban.core import entries as e
from kuraban.core.plan.addition_temperature import Mash, expected
from tests.core.detectors.kit import MID, TANK, Night, course, house, stage, step

COURSE = course(stage("soe", 11.0, hours=48, settle=3 * 3600.0), stage())


def night() -> Night:
    """Seven in the morning; 400 L of mash at 11 °C by the additions that were logged."""
    n = Night(house(TANK, MID, courses=(COURSE,)), start=1768860000.0)
    n.batch(since=0)
    n.log("tank", "addition", what="water-koji", litres=400)
    n.play(60, mid=11.0)
    return n


def remarks(n: Night) -> list[str]:
    return [message.title for message in n.messages() if "landed" in message.title]


def landed(at: float, **figures: float) -> list[str]:
    n = night()
    n.log("tank", "addition", what="rice", **figures)
    n.play(240, mid=step(11.0, at, 62))
    return remarks(n)


GOAL = expected(Mash(11.0, (380.0, 420.0)), [e.Addition(what="rice", kg=170, celsius=15.0)])


def test_a_landing_where_the_figures_say_is_no_news() -> None:
    assert GOAL is not None and GOAL.likely == pytest.approx(12.2, abs=0.1)
    assert landed(GOAL.likely, kg=170, celsius=15.0) == []


def test_a_landing_above_is_told_with_how_far_and_what_to_do() -> None:
    """A lump not broken up: stir and look again."""
    assert GOAL is not None
    (title,) = landed(GOAL.likely + 1.5, kg=170, celsius=15.0)
    assert title == "Tank 3 landed 1.5 warmer than its figures say"


def test_a_landing_below_is_told_too() -> None:
    assert GOAL is not None
    (title,) = landed(GOAL.likely - 1.8, kg=170, celsius=15.0)
    assert "1.8 colder" in title


def test_it_is_told_once_and_is_no_alarm() -> None:
    n = night()
    n.log("tank", "addition", what="rice", kg=170, celsius=15.0)
    n.play(600, mid=step(11.0, 14.5, 62))
    told = [message for message in n.messages() if "landed" in message.title]
    assert len(told) == 1 and told[0].step == "notice" and told[0].alarms == ()
    assert not {alarm for alarm in n.alarms() if "landing" in alarm}
    assert "rice warmer than logged" in told[0].body


@pytest.mark.parametrize("figures", [{}, {"kg": 170}, {"celsius": 15.0}])
def test_without_its_figures_nothing_is_expected(figures: dict[str, float]) -> None:
    assert landed(14.5, **figures) == []


@pytest.mark.parametrize(("late", "told"), [(15, 1), (25, 0)])
def test_figures_that_come_twenty_minutes_late_come_too_late(late: float, told: int) -> None:
    """By then the mash before it is no longer what was looked at."""
    n = night()
    n.play(61 + late, mid=step(11.0, 14.5, 62))
    n.log("tank", "addition", at=61, what="rice", kg=170, celsius=15.0)
    n.play(300, mid=14.5)
    assert len(remarks(n)) == told


def test_spirit_warms_by_its_strength_which_nobody_logged() -> None:
    """So nothing is told of a mash into which it went, wherever it lands."""
    n = night()
    n.log("tank", "addition", what="alcohol", litres=40, celsius=15.0)
    n.play(240, mid=step(11.0, 14.5, 62))
    assert remarks(n) == []


def test_two_additions_in_a_row_are_one_mixture() -> None:
    """Rice in two lots of different warmth: judged once, by both."""
    n = night()
    for celsius in (12.0, 18.0):
        n.log("tank", "addition", what="rice", kg=85, celsius=celsius)
        n.play(n.minute + 10, mid=11.5)
    n.play(300, mid=12.2)
    assert remarks(n) == []


def test_an_addition_without_figures_among_them_leaves_the_whole_unknown() -> None:
    n = night()
    n.log("tank", "addition", what="rice", kg=170, celsius=15.0)
    n.log("tank", "addition", what="water")
    n.play(300, mid=step(11.0, 9.0, 62))
    assert remarks(n) == []


def test_a_tank_taken_over_in_its_last_stage_is_as_full_as_its_size_allows() -> None:
    """Late water into a mash whose litres nobody logged: the range is wide, not silent."""
    n = Night(house(TANK, MID, courses=(COURSE,)), start=1768860000.0)
    n.batch(stage="moromi", since=-6000)
    n.play(60, mid=10.0)
    n.log("tank", "addition", what="late-water", litres=100, celsius=5.0)
    n.play(200, mid=step(10.0, 8.0, 62))
    assert len(remarks(n)) == 1


def test_an_addition_logged_hours_late_is_judged_by_nobody() -> None:
    n = night()
    n.play(300, mid=14.0)
    n.log("tank", "addition", what="rice", kg=170, celsius=15.0, at=60)
    n.play(400, mid=14.0)
    assert remarks(n) == []


def told_at(n: Night) -> list[float]:
    return [(message.at - n.start) / 60 for message in n.messages() if "landed" in message.title]


@pytest.mark.parametrize(("what", "figures", "minutes"), [
    ("rice", {"kg": 170, "celsius": 15.0}, 90), ("ice", {"kg": 20}, 90),
    ("yodan", {"kg": 100, "celsius": 15.0}, 60), ("water", {"litres": 100, "celsius": 5.0}, 40),
])  # fmt: skip
def test_each_addition_has_its_own_time_to_settle(
    what: str, figures: dict[str, float], minutes: float
) -> None:
    """Rice and ice an hour and a half, the fourth addition an hour, all else forty minutes."""
    n = night()
    n.log("tank", "addition", what=what, **figures)
    n.play(60 + minutes - 1, mid=step(11.0, 16.0, 62))
    assert told_at(n) == []
    assert told_at(n.play(200, mid=16.0)) == [60 + minutes]


@pytest.mark.parametrize(("beyond", "told"), [(0.25, 0), (0.35, 1)])
def test_three_tenths_beyond_what_the_figures_allow_are_still_a_landing(
    beyond: float, told: int
) -> None:
    assert GOAL is not None
    for at in (GOAL.most + beyond, GOAL.least - beyond):
        assert len(landed(at, kg=170, celsius=15.0)) == told


def test_what_went_in_is_forgotten_when_the_tank_is_out_of_service_or_pressed() -> None:
    for subject, entry, fields in (("tank", "out-of-service", {"reason": "leaks"}),
                                   ("tank", "batch-end", {})):  # fmt: skip
        n = night()
        n.log("tank", "addition", what="rice", kg=170, celsius=15.0)
        n.play(100, mid=step(11.0, 14.5, 62))
        n.log(subject, entry, **fields)
        n.play(300, mid=14.5)
        assert remarks(n) == []


def test_one_entry_is_one_pour_however_often_it_is_looked_at() -> None:
    """A late word of another kind makes the books be folded anew."""
    n = night()
    n.log("tank", "addition", what="rice", kg=170, celsius=15.0)
    n.play(65, mid=step(11.0, 14.5, 62))
    n.log("tank", "stir", at=20)
    n.play(70, mid=14.5)
    n.log("tank", "check", celsius=14.4)
    n.play(300, mid=14.5)
    assert told_at(n) == [150]
    assert remarks(n) == ["Tank 3 landed 2.3 warmer than its figures say"]


def test_a_probe_that_says_too_little_before_it_tells_no_landing() -> None:
    """Three readings of the last twenty minutes at least."""
    for spoken, told in ((2, 0), (3, 1)):
        n = Night(house(TANK, MID, courses=(COURSE,)), start=1768860000.0)
        n.batch(since=0)
        n.log("tank", "addition", what="water-koji", litres=400)
        n.play(30).play(30 + spoken, mid=11.0)
        n.log("tank", "addition", what="rice", kg=170, celsius=15.0)
        n.play(300, mid=14.5)
        assert len(remarks(n)) == told


def test_litres_by_additions_may_be_off_by_a_twentieth() -> None:
    """What lands at the warm end of 380 to 420 L is no news, what lands beyond it is."""
    assert GOAL is not None
    tight = expected(Mash(11.0, (400.0, 400.0)), [e.Addition(what="rice", kg=170, celsius=15.0)])
    wide = expected(Mash(11.0, (380.0, 420.0)), [e.Addition(what="rice", kg=170, celsius=15.0)])
    assert tight is not None and wide is not None and tight.most < wide.most
    assert landed(round((tight.most + wide.most) / 2 + 0.3, 3), kg=170, celsius=15.0) == []


def test_a_tank_of_unknown_size_taken_over_in_its_last_stage_lands_nowhere() -> None:
    tank = msgspec.structs.replace(TANK, litres=None)
    n = Night(house(tank, MID, courses=(COURSE,)), start=1768860000.0)
    n.batch(stage="moromi", since=-6000)
    n.play(60, mid=10.0)
    n.log("tank", "addition", what="late-water", litres=100, celsius=5.0)
    assert remarks(n.play(200, mid=step(10.0, 8.0, 62))) == []


def test_what_was_there_before_it_is_that_of_the_twenty_minutes_before_it() -> None:
    """It had come down by two degrees until then: the median of forty would be warmer."""
    n = Night(house(TANK, MID, courses=(COURSE,)), start=1768860000.0)
    n.batch(since=0)
    n.log("tank", "addition", what="water-koji", litres=400)
    n.play(60, mid=step(13.0, 11.0, 38))
    n.log("tank", "addition", what="rice", kg=170, celsius=15.0)
    assert GOAL is not None
    assert remarks(n.play(240, mid=step(11.0, round(GOAL.likely, 3), 62))) == []
