"""Two probes in one mash: layering until it was stirred, a fault when a stir changes nothing."""

from __future__ import annotations

import msgspec

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
