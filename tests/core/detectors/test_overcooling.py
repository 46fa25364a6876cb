"""A valve that stays open below the plan, or a fall that no controller wants."""

from __future__ import annotations

import msgspec
import pytest

from kuraban.core.detectors.overcooling import Overcooling
from kuraban.core.planned_curve import Sides
from kuraban.core.site import Place, Probe
from kuraban.core.units import HOUR, MINUTE
from tests.core.detectors.kit import (
    CELLAR,
    KOJI_COURSE,
    MID,
    TANK,
    Night,
    cellar,
    course,
    house,
    noisy,
    ramp,
    saw,
    stage,
    step,
)

VALVE = Probe(id="valve", of="tank", measures="valve")
AIR = 6.0
ALARM = "tank/overcooling"


def tank(*stages: object, valve: bool = True) -> Night:
    night = Night(cellar(*((VALVE,) if valve else ()), stages=stages))  # type: ignore[arg-type]
    night.batch()
    return night


def test_a_valve_stuck_open_is_told_before_the_tank_has_left_its_tolerance_for_its_delay() -> None:
    """Falling 0.4 K an hour: four fifths of the tolerance after an hour, and ten minutes more."""
    night = tank().play(240, mid=noisy(ramp(10.0, -0.4, since=30)), air=AIR, valve=step(0, 1, 30))
    (raised,) = night.raised(ALARM)
    assert 90 <= raised <= 115
    assert night.evidence(ALARM) == ("valve_open",)
    assert raised < min(night.raised("tank/cold"), default=999)
    assert {page.role for page in night.pages(ALARM)} == {"brewer"}


def test_the_undershoot_of_on_off_cooling_is_none() -> None:
    """The saw-tooth falls half a degree in half an hour, its valve open, 0.3 below the plan."""
    valve = lambda m: 1.0 if (m % 120) >= 96 else 0.0  # noqa: E731
    night = tank().play(24 * 60, mid=noisy(saw(10.0, 0.5, 120)), air=AIR, valve=valve)
    assert ALARM not in night.alarms()


def test_a_valve_open_above_the_plan_cools_as_it_should() -> None:
    night = tank().play(240, mid=noisy(ramp(10.45, -0.15)), air=AIR, valve=1)
    assert ALARM not in night.alarms()


def test_below_plan_with_the_valve_shut_and_no_fast_fall_it_is_the_plain_alarm_that_tells() -> None:
    night = tank().play(400, mid=noisy(ramp(10.0, -0.2)), air=AIR, valve=0)
    assert "tank/cold" in night.alarms()
    assert ALARM not in night.alarms()


def test_without_a_valve_probe_a_steady_fast_fall_tells() -> None:
    """One degree an hour against the plan, quarter after quarter of an hour."""
    night = tank(valve=False).play(200, mid=noisy(ramp(10.0, -1.0, since=30)), air=AIR)
    (raised,) = night.raised(ALARM)
    assert 60 <= raised <= 110
    assert night.evidence(ALARM) == ("falls_fast",)


def test_a_stir_that_dips_and_stays_is_a_step_and_no_fall() -> None:
    """Cold from the bottom comes up at once, half a degree, unlogged; then it is level."""
    night = tank(valve=False).play(240, mid=noisy(step(10.0, 9.52, 60)), air=AIR)
    assert ALARM not in night.alarms()


def test_a_short_dip_under_an_open_valve_is_a_stir() -> None:
    night = tank().play(180, mid=noisy(step(10.0, 9.5, 60, 68)), air=AIR, valve=1)
    assert ALARM not in night.alarms()


def test_work_at_the_tank_holds_it() -> None:
    night = tank().play(40, mid=10.0, air=AIR, valve=0)
    night.log("tank", "addition", what="rice")
    night.play(125, mid=noisy(ramp(10.0, -0.6, since=40)), air=AIR, valve=1)
    assert ALARM not in night.alarms()


def test_a_plan_that_falls_is_no_overcooling() -> None:
    """The cooling of a starter falls a degree every four hours, and the starter with it."""
    falling = stage(rate=-0.25, tolerance=Sides(2, 2))
    night = Night(cellar(VALVE, stages=(falling,)))
    night.batch(since=0)
    night.play(600, mid=noisy(ramp(10.0, -0.25)), air=AIR, valve=1)
    assert ALARM not in night.alarms()


def test_it_is_over_when_the_valve_is_shut_or_the_tank_came_back() -> None:
    night = tank().play(150, mid=noisy(ramp(10.0, -0.4, since=30)), air=AIR, valve=1)
    assert night.stands(ALARM)
    night.play(300, mid=noisy(ramp(9.2, 0.2, since=150)), air=AIR, valve=0)
    (over,) = night.over(ALARM)
    assert 150 + 10 <= over <= 150 + 20


def test_it_is_not_over_while_the_valve_stays_open_deep_below() -> None:
    night = tank().play(150, mid=noisy(ramp(10.0, -0.4, since=30)), air=AIR, valve=1)
    night.play(400, mid=noisy(9.2), air=AIR, valve=1)
    assert not night.over(ALARM)


def test_when_the_batch_is_pressed_it_is_over() -> None:
    night = tank().play(150, mid=noisy(ramp(10.0, -0.4, since=30)), air=AIR, valve=1)
    night.log("tank", "batch-end")
    assert not night.stands(ALARM)


def test_a_koji_bed_that_loses_its_heat_is_cold_and_not_overcooled() -> None:
    """Nothing cools a bed that has no cooler."""
    bed = Place(id="bed", kind="koji-bed", name="Koji bed 1")
    night = Night(house(bed, Probe(id="in-bed", of="bed", measures="product"),
                        courses=(KOJI_COURSE,)))  # fmt: skip
    night.batch("bed", "koji")
    night.play(120, **{"in-bed": noisy(ramp(36.0, -3.0, since=30))})
    assert "bed/cold" in night.alarms()
    assert "bed/overcooling" not in night.alarms()


def test_a_deep_and_fast_fall_is_told_whatever_a_slow_valve_probe_says() -> None:
    """The valve's own word comes every five minutes and may be a lie: shut, yet it falls."""
    slow = msgspec.structs.replace(VALVE, every=5 * MINUTE)
    night = Night(cellar(slow))
    night.batch()
    night.play(200, mid=noisy(ramp(10.0, -1.0, since=30)), air=AIR, valve=0)
    assert ALARM in night.alarms()


# -------------------------------------------------------------------------------- what it answers


def test_what_it_answers_under_an_open_valve() -> None:
    """0.4 K an hour; half of its tolerance, four fifths for ten minutes, and the valve's quarter
    of an hour."""
    night, falls = tank(), ramp(10.0, -0.4, since=30)
    assert night.why(ALARM) == ["lacks: no-value"]
    night.play(30, mid=falls, air=AIR, valve=0)
    assert night.why(ALARM) == ["lacks: not-deep value=-0 edge=-0.25 unit=K"]
    night.play(70, mid=falls, air=AIR, valve=1)
    seen = "seen: valve-open since=34"
    assert night.why(ALARM) == [seen, "lacks: not-deep value=-0.24 edge=-0.25 unit=K"]
    night.play(92, mid=falls, air=AIR, valve=1)
    assert night.why(ALARM) == [seen, "lacks: not-deep value=-0.3867 edge=-0.4 unit=K"]
    night.play(100, mid=falls, air=AIR, valve=1)
    assert night.why(ALARM) == [
        seen, "lacks: runs-out until=106 lasted=9 wanted=15",
        "delay: since=91 how=seen spent=9 wanted=15 due=106",
    ]  # fmt: skip
    night.play(112, mid=falls, air=AIR, valve=1)
    over = "ends: over-near value=-0.52 edge=-0.25 unit=K"
    assert night.why(ALARM) == ["stands", seen, over, "ends: over-shut"]
    assert night.raised(ALARM) == [106]
    alarm = night.engine.alarm_manager.alarm("tank", "overcooling")
    assert alarm.value == pytest.approx(9.48) and alarm.planned == 10.0
    night.play(125, mid=falls, air=AIR, valve=1).play(140, mid=9.3, air=AIR, valve=0)
    assert night.over(ALARM) == [136]
    assert night.why(ALARM)[0].startswith("lacks: too-slow value=-0.4345 edge=-0.8 unit=K/h")
    night.log("tank", "batch-end")
    assert night.why(ALARM) == []


def test_what_it_answers_of_a_valve_opened_deep_below_and_of_what_falls_no_more() -> None:
    """It has hung half a degree below for an hour; the valve opens at 60 and nothing falls."""
    night = tank().play(30, mid=10.0, air=AIR, valve=0).play(60, mid=9.55, air=AIR, valve=0)
    night.play(70, mid=9.55, air=AIR, valve=1)
    assert night.why(ALARM)[1] == "lacks: runs-out until=77 lasted=8 wanted=15"
    night.play(100, mid=9.55, air=AIR, valve=1)
    assert night.why(ALARM) == ["seen: valve-open since=62", "lacks: not-falling value=-0 unit=K/h"]


def test_what_it_answers_of_a_fast_fall() -> None:
    """A degree an hour: 0.9 of the tolerance, in each of five quarters of an hour."""
    night, falls = tank(valve=False), ramp(10.0, -1.0, since=30)
    night.play(60, mid=falls, air=AIR)
    assert night.why(ALARM) == ["lacks: too-slow value=-1.034 edge=-0.8 unit=K/h"]
    night.play(95, mid=falls, air=AIR)
    assert night.why(ALARM) == ["stands", "ends: over-near value=-1.017 edge=-0.25 unit=K"]
    assert night.raised(ALARM) == [86]


@pytest.mark.parametrize(("rate", "told"), [(-0.75, False), (-0.85, True)])
def test_eight_tenths_an_hour_are_a_fast_fall(rate: float, told: bool) -> None:
    night = tank(valve=False).play(150, mid=ramp(10.0, rate, since=20), air=AIR)
    assert (ALARM in night.alarms()) is told


def test_with_its_valve_shut_it_must_have_left_its_tolerance() -> None:
    """Nine tenths of it are enough where nobody knows what the valve does."""
    told = []
    for valve in ({}, {"valve": 0.0}):
        night = tank(stage(tolerance=Sides(1.2, 1.2), limit=Sides(5, 5)), valve=bool(valve))
        night.play(150, mid=ramp(10.0, -1.0, since=20), air=AIR, **valve)
        told += night.raised(ALARM)
    assert told == [90, 98]


def test_what_it_answers_under_a_mask_and_while_it_settles() -> None:
    night = tank().play(30, mid=10.0, air=AIR, valve=1)
    night.log("tank", "addition", what="rice")
    night.play(60, mid=9.5, air=AIR, valve=1)
    (mask,) = night.view.entry_log.of("tank").masks
    assert night.why(ALARM)[1] == f"lacks: held until={(mask.end - night.start) / 60:.4g}"
    settles = tank(stage(settle=12 * HOUR)).play(60, mid=9.6, air=AIR, valve=1)
    assert settles.why(ALARM) == ["seen: valve-open since=2", "lacks: held until=120"]


def test_half_way_back_under_an_open_valve_it_is_over_after_ten_minutes() -> None:
    falls = ramp(10.0, -0.4, since=30)
    night = tank().play(125, mid=falls, air=AIR, valve=1)
    night.play(160, mid=9.74, air=AIR, valve=1)
    assert night.stands(ALARM), "0.26 of 0.5"
    night.play(180, mid=9.8, air=AIR, valve=1)
    (over,) = night.over(ALARM)
    assert over == 174


@pytest.mark.parametrize(
    ("quarters", "steady"),
    [
        ((0.25, 0.25, 0.25), True),
        ((0.45, 0.15, 0.15), False),
        ((0.4, 0.3, 0.3), True),
        ((0.25, 0.25, 0.145), False),
        ((0.25, 0.25, 0.155), True),
    ],
)
def test_a_steady_fall_brings_a_little_in_each_quarter_and_no_more_than_half_in_one(
    quarters: tuple[float, ...], steady: bool
) -> None:
    """Three quarters of an hour, the oldest first; 0.14 K in each at least."""
    ends = [(15 * n, sum(quarters[:n])) for n in range(4)]

    def falls(minute: float) -> float:
        gone = [fall for start, fall in ends if start <= minute - 60]
        share = (minute - 60) % 15 / 15 if 0 <= minute - 60 < 45 else 0.0
        return (
            10.0 - (gone[-1] if gone else 0.0) - share * (quarters[len(gone) - 1] if share else 0)
        )

    night = tank(valve=False).play(107, mid=falls, air=AIR)
    fall = night.engine.registry.one(Overcooling, "tank")
    assert isinstance(fall, Overcooling)
    assert fall._steadily(night.engine.now, 3) is steady


def test_of_few_readings_or_of_a_short_while_no_fall_is_told() -> None:
    """Six of them and a quarter of an hour are needed; a quarter of the tolerance is not deep."""
    slow = msgspec.structs.replace(MID, every=5 * MINUTE)
    for probe, minutes, fall in ((MID, 12, 0.0), (slow, 21, 0.0), (slow, 26, 1.0), (MID, 17, 1.0)):
        night = Night(house(TANK, CELLAR, probe, courses=(course(),)))
        night.batch()
        night.play(minutes, mid=ramp(9.7, -1.0))
        detector = night.engine.registry.one(Overcooling, "tank")
        assert isinstance(detector, Overcooling)
        assert detector._fall(0.0, night.engine.now) == pytest.approx(fall, abs=0.25)
    night = tank(valve=False).play(60, mid=9.75, air=AIR)
    assert night.why(ALARM) == ["lacks: too-slow value=-0 edge=-0.8 unit=K/h"]
