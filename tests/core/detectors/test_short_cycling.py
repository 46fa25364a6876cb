"""More than twelve starts an hour wear a compressor out."""

from __future__ import annotations

import msgspec

from kuraban.core.site import Probe
from tests.core.detectors.kit import EVENING, Night
from tests.core.equipment.test_cooler_view import POWER, RUNNING, night_of

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
