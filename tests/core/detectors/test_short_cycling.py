"""More than twelve starts an hour wear a compressor out."""

from __future__ import annotations

import msgspec
import pytest

from kuraban.core.site import Probe
from tests.core.detectors.kit import EVENING, Night
from tests.core.equipment.test_cooler_view import CHILLER, POWER, RUNNING, night_of

NOON = EVENING + 12 * 3600
ALARM = "chiller/short-cycling"


def chiller(*probes: Probe) -> Night:
    night = Night(night_of(*probes).home, start=NOON)
    night.batch()
    return night


def starts(an_hour: int, high: float = 1, low: float = 0) -> object:
    """Evenly, running half of each turn."""
    turn = 60 / an_hour
    return lambda m: high if m % turn < turn / 2 else low


def test_fifteen_starts_an_hour_are_told_to_maintenance_by_day() -> None:
    night = chiller(RUNNING).play(120, mid=10.0, running=starts(15))  # type: ignore[arg-type]
    (raised,) = night.raised(ALARM)
    assert 48 <= raised <= 62
    assert night.evidence(ALARM) == ("starts=13",)
    assert [page.role for page in night.pages(ALARM)] == ["maintenance"]


def test_twelve_starts_an_hour_are_what_a_scroll_may_do() -> None:
    """A manufacturer's guideline for scroll compressors, from memory of its handbook."""
    night = chiller(RUNNING).play(600, mid=10.0, running=starts(12))  # type: ignore[arg-type]
    assert not night.alarms()


def test_its_draw_tells_as_well_as_its_word() -> None:
    night = chiller(POWER).play(120, mid=10.0, power=starts(15, 1150, 41))  # type: ignore[arg-type]
    assert night.alarms() == {ALARM}


def test_a_pump_that_comes_and_goes_is_no_compressor() -> None:
    """A tenth of the rated draw."""
    night = chiller(POWER).play(120, mid=10.0, power=starts(15, 150, 41))  # type: ignore[arg-type]
    assert not night.alarms()


def test_the_probe_that_speaks_oftener_is_the_one_to_count_by() -> None:
    """A contact told every five minutes cannot see a run of two."""
    slow = msgspec.structs.replace(RUNNING, every=300.0)
    night = chiller(slow, POWER).play(
        120,
        mid=10.0,
        running=1,
        power=starts(15, 1150, 41),  # type: ignore[arg-type]
    )
    assert night.alarms() == {ALARM}


def test_it_is_over_when_an_hour_has_six_starts_or_fewer() -> None:
    night = chiller(RUNNING).play(120, mid=10.0, running=starts(15))  # type: ignore[arg-type]
    night.play(240, mid=10.0, running=starts(4))  # type: ignore[arg-type]
    (over,) = night.over(ALARM)
    assert 150 <= over <= 180


def test_ten_starts_after_twenty_are_no_return_yet() -> None:
    night = chiller(RUNNING).play(120, mid=10.0, running=starts(20))  # type: ignore[arg-type]
    night.play(300, mid=10.0, running=starts(10))  # type: ignore[arg-type]
    assert night.steps(ALARM) == night.steps(ALARM)[:1]


def test_a_chiller_without_a_batch_may_cycle_as_it_likes() -> None:
    night = Night(night_of(RUNNING).home, start=NOON)
    assert not night.play(120, running=starts(20)).alarms()  # type: ignore[arg-type]


def test_what_it_answers_counts_the_starts_of_the_hour() -> None:
    night = chiller(RUNNING).play(30, mid=10.0, running=starts(15))  # type: ignore[arg-type]
    assert night.why(ALARM) == ["lacks: few-starts value=7 edge=12 unit="]
    night.play(120, mid=10.0, running=starts(15))  # type: ignore[arg-type]
    assert night.why(ALARM) == ["stands", "ends: over-starts value=14 edge=6 unit="]
    alarm = night.engine.alarm_manager.alarm("chiller", "short-cycling")
    assert (alarm.value, alarm.since) == (15.0, night.start + 4 * 60)
    assert night.raised(ALARM) == [52]
    night.log("tank", "batch-end")
    assert night.why(ALARM) == []


@pytest.mark.parametrize(("rated", "high", "told"), [
    (1500, 225, True), (1500, 224, False), (None, 60, True), (None, 59, False),
])  # fmt: skip
def test_a_seventh_of_its_rated_draw_is_a_run(rated: float | None, high: float, told: bool) -> None:
    """0.15 of it, or 60 W where it is not known."""
    plain = msgspec.structs.replace(CHILLER, rated_watts=rated)
    night = Night(night_of(POWER, cooler=plain).home, start=NOON)
    night.batch()
    night.play(100, mid=10.0, power=starts(15, high, 10))  # type: ignore[arg-type]
    assert (ALARM in night.alarms()) is told


def test_six_starts_an_hour_are_its_return_and_seven_are_not() -> None:
    for count, over in ((6, True), (7, False)):
        night = chiller(RUNNING).play(120, mid=10.0, running=starts(15))  # type: ignore[arg-type]
        evenly = starts(1)
        night.play(
            300, mid=10.0,
            running=lambda m, n=count, at=evenly: at(m * n) if m % (60 / n) >= 0 else 0,  # type: ignore[operator,misc]
        )  # fmt: skip
        assert bool(night.over(ALARM)) is over
