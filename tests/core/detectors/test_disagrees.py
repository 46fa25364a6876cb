"""Two probes in one mash: layering until it was stirred, a fault when a stir changes nothing."""

from __future__ import annotations

import msgspec
import pytest

from kuraban.core.effects import Message
from kuraban.core.site import Place
from tests.core.detectors.kit import EVENING, KOJI_COURSE, MID, Night, cellar, house, noisy, ramp

AIR = 6.0
NOON = EVENING + 14 * 3600
ALARM = "low/disagrees"
LOW = msgspec.structs.replace(MID, id="low")


def tank() -> Night:
    night = Night(cellar(LOW), start=NOON)
    night.batch()
    return night


def layering(night: Night) -> list[Message]:
    return [m for m in night.messages() if m.step == "notice" and "and bottom" in m.text.lower()]


def test_layering_is_a_notice_to_the_crew_and_no_alarm() -> None:
    """Top and bottom differ by 1.2 K for half an hour: stir."""
    night = tank().play(120, mid=noisy(10.4), low=noisy(9.2, seed=2), air=AIR)
    (notice,) = layering(night)
    assert notice.role == "crew"
    assert "1.2" in notice.text
    assert ALARM not in night.alarms()


def test_layering_of_less_than_half_an_hour_is_nobodys_news() -> None:
    night = tank().play(60, mid=noisy(10.0), low=noisy(10.0, seed=2), air=AIR)
    night.play(90, mid=noisy(10.6), low=noisy(9.4, seed=2), air=AIR)
    assert not layering(night)
    night.play(110, mid=noisy(10.6), low=noisy(9.4, seed=2), air=AIR)
    assert len(layering(night)) == 1


def test_layering_is_told_once() -> None:
    night = tank().play(600, mid=noisy(10.4), low=noisy(9.2, seed=2), air=AIR)
    assert len(layering(night)) == 1


def test_a_stir_that_evens_the_mash_ends_it() -> None:
    night = tank().play(120, mid=noisy(10.4), low=noisy(9.2, seed=2), air=AIR)
    night.log("tank", "stir", by="mio")
    night.play(400, mid=noisy(9.8), low=noisy(9.8, seed=2), air=AIR)
    assert ALARM not in night.alarms()


def test_a_difference_that_is_still_there_after_a_stir_is_a_fault() -> None:
    night = tank().play(120, mid=noisy(10.2), low=noisy(9.4, seed=2), air=AIR)
    night.log("tank", "stir", by="mio")
    night.play(240, mid=noisy(10.2), low=noisy(9.4, seed=2), air=AIR)
    (raised,) = night.raised(ALARM)
    assert 120 + 30 <= raised <= 120 + 30 + 20
    assert night.evidence(ALARM) == ("twin=10.2",)
    assert [page.role for page in night.pages(ALARM)] == ["maintenance"]


def test_a_difference_that_came_after_the_stir_is_layering_again() -> None:
    night = tank().play(60, mid=noisy(10.0), low=noisy(10.0, seed=2), air=AIR)
    night.log("tank", "stir")
    night.play(140, mid=noisy(10.0), low=noisy(10.0, seed=2), air=AIR)
    night.play(400, mid=noisy(10.2), low=noisy(ramp(10.0, -0.4, since=140), seed=2), air=AIR)
    assert ALARM not in night.alarms()


def test_a_quiet_mash_with_a_jacket_may_differ_by_less_than_half_a_degree() -> None:
    night = tank().play(120, mid=noisy(10.2), low=noisy(9.8, seed=2), air=AIR)
    night.log("tank", "stir")
    night.play(300, mid=noisy(10.2), low=noisy(9.8, seed=2), air=AIR)
    assert not night.alarms()
    assert not layering(night)


def test_it_ends_when_they_agree_again() -> None:
    night = tank().play(120, mid=noisy(10.2), low=noisy(9.4, seed=2), air=AIR)
    night.log("tank", "stir")
    night.play(240, mid=noisy(10.2), low=noisy(9.4, seed=2), air=AIR)
    night.play(300, mid=noisy(10.0), low=noisy(9.95, seed=2), air=AIR)
    assert night.over(ALARM)


def test_a_silent_twin_proves_nothing() -> None:
    night = tank().play(120, mid=noisy(10.2), low=noisy(9.2, seed=2), air=AIR)
    night.log("tank", "stir")
    night.play(300, mid=noisy(10.2), air=AIR)
    assert ALARM not in night.alarms()


def test_koji_is_uneven_by_nature() -> None:
    """1.5 K between two places of a bed are no fault and no layering."""
    bed = Place(id="tank", kind="koji-bed", name="Koji bed 1")
    night = Night(house(bed, MID, LOW, courses=(KOJI_COURSE,)), start=NOON)
    night.batch("tank", "koji")
    night.play(200, mid=noisy(36.6), low=noisy(35.1, seed=2))
    assert not night.alarms()
    assert not layering(night)


def test_after_the_batch_ended_two_probes_may_say_what_they_like() -> None:
    night = tank().play(120, mid=noisy(10.2), low=noisy(9.4, seed=2), air=AIR)
    night.log("tank", "stir")
    night.play(240, mid=noisy(10.2), low=noisy(9.4, seed=2), air=AIR)
    night.log("tank", "batch-end")
    assert not night.stands(ALARM)


def test_what_it_answers_before_and_after_the_stir_that_proves_it() -> None:
    """Half a degree apart is still as one; from then on three tenths are; stirred at 60, and
    looked at again once the half hour of the stir and ten minutes more are over."""
    night = tank()
    assert night.why(ALARM) == ["lacks: not-known"]
    night.play(20, mid=10.0, low=9.8, air=AIR)
    assert night.why(ALARM) == ["lacks: agree value=0.2 edge=0.5 unit=K name=mid"]
    night.play(60, mid=10.4, low=9.2, air=AIR)
    apart = ["lacks: unstirred value=1.2 unit=K since=30 name=mid"]
    assert night.why(ALARM) == apart
    night.log("tank", "stir")
    night.play(99, mid=10.4, low=9.2, air=AIR)
    assert night.why(ALARM) == apart
    night.play(101, mid=10.4, low=9.2, air=AIR)
    proven = [
        "stands", "seen: differs value=1.2 unit=K since=30 name=mid",
        "ends: over-agree edge=0.3 unit=K name=mid",
    ]  # fmt: skip
    assert night.why(ALARM) == proven
    assert night.raised(ALARM) == [100]
    alarm = night.engine.alarm_manager.alarm("low", "disagrees")
    assert (alarm.value, alarm.since) == (9.2, night.start + 30 * 60)
    night.play(160, mid=10.0, low=9.65, air=AIR)
    assert night.stands(ALARM)
    night.play(190, mid=10.0, low=9.75, air=AIR)
    assert night.over(ALARM) == [170]
    assert night.why(ALARM) == ["lacks: agree value=0.25 edge=0.5 unit=K name=mid"]
    night.log("tank", "batch-end")
    assert night.why(ALARM) == []


@pytest.mark.parametrize(("apart", "differs"), [(0.5, False), (0.51, True)])
def test_half_a_degree_is_still_as_one(apart: float, differs: bool) -> None:
    night = tank().play(30, mid=10.0, low=10.0 - apart, air=AIR)
    assert night.why(ALARM)[0].startswith("lacks: unstirred") is differs


@pytest.mark.parametrize(("apart", "layers"), [(0.69, 0), (0.71, 1)])
def test_seven_tenths_for_half_an_hour_are_layers(apart: float, layers: int) -> None:
    night = tank().play(20, mid=10.0, low=10.0, air=AIR)
    night.play(59, mid=10.0, low=10.0 - apart, air=AIR)
    assert not layering(night)
    assert len(layering(night.play(65, mid=10.0, low=10.0 - apart, air=AIR))) == layers


def test_within_an_hour_of_a_stir_nobody_is_told_to_stir() -> None:
    """Stirred at 60; apart again as soon as that may be layers, and told an hour after it."""
    night = tank().play(60, mid=10.0, low=10.0, air=AIR)
    night.log("tank", "stir")
    night.play(86, mid=10.0, low=10.0, air=AIR).play(200, mid=10.3, low=9.55, air=AIR)
    assert [told.at - night.start for told in layering(night)] == [130 * 60]


def test_koji_two_degrees_apart_answers_that_it_agrees() -> None:
    bed = Place(id="tank", kind="koji-bed", name="Koji bed 1")
    night = Night(house(bed, MID, LOW, courses=(KOJI_COURSE,)), start=NOON)
    night.batch("tank", "koji")
    night.play(30, mid=36.5, low=34.5)
    assert night.why(ALARM) == ["lacks: agree value=2 edge=2 unit=K name=mid"]
    night.play(120, mid=36.5, low=34.0)
    assert night.why(ALARM)[0].startswith("lacks: unstirred value=2.5")
    assert not layering(night)


def test_apart_again_after_they_agreed_is_told_again() -> None:
    night = tank()
    for until, low in ((60, 9.25), (90, 10.0), (150, 9.25)):
        night.play(until, mid=10.0, low=low, air=AIR)
    assert len(layering(night)) == 2
