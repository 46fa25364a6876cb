"""Power or network gone: one message, not twenty, and one when it is back."""

from __future__ import annotations

import msgspec

from kuraban.core.site import Probe
from kuraban.core.units import MINUTE
from tests.core.detectors.kit import CELLAR, MID, TANK, Night, Trace, course, house, noisy

ALARM = "watch/dark"
COUNT = 6


def hall(every: float = MINUTE) -> Night:
    places = [msgspec.structs.replace(TANK, id=f"tank-{n}", name=f"Tank {n}") for n in range(COUNT)]
    probes = [
        Probe(id=f"p{n}", of=f"tank-{n}", measures="product", every=every) for n in range(COUNT)
    ]
    night = Night(house(CELLAR, *places, *probes, courses=(course(),)))
    for n in range(COUNT):
        night.batch(f"tank-{n}")
    return night


def all_but(*gone: int) -> dict[str, Trace]:
    return {f"p{n}": noisy(10.0, seed=n + 1) for n in range(COUNT) if n not in gone}


def pages(night: Night) -> list[str]:
    return [alarm for message in night.messages() for alarm in message.alarms]


def test_more_than_half_of_all_probes_silent_together_is_one_message_to_maintenance() -> None:
    night = hall().play(60, **all_but()).play(200)
    assert night.raised(ALARM) == [59 + 15]
    assert set(pages(night)) == {ALARM}
    assert {message.role for message in night.pages(ALARM)} == {"maintenance"}


def test_silent_and_unwatched_are_held_back_for_as_long_as_it_is_dark() -> None:
    night = hall().play(60, **all_but()).play(400)
    assert {alarm for alarm in night.alarms() if "silent" in alarm or "unwatched" in alarm} == set()


def test_on_return_one_message_says_from_when_to_when() -> None:
    """Silent from 22:59 to 00:10."""
    night = hall().play(60, **all_but()).play(130).play(160, **all_but())
    (over,) = night.over(ALARM)
    assert 130 <= over <= 133
    last = [message for message in night.messages() if message.at >= night.start + over * 60]
    assert sorted(message.person for message in last) == ["aki", "ken"]
    assert all("22:59" in message.text and "00:1" in message.text for message in last)
    assert night.alarms() == {ALARM}


def test_one_that_stays_away_when_the_others_are_back_is_told_then() -> None:
    night = hall().play(60, **all_but()).play(130).play(300, **all_but(2))
    assert "p2/silent" in night.alarms()
    assert "tank-2/unwatched" in night.alarms()
    assert "tank-1/unwatched" not in night.alarms()


def test_half_of_them_is_not_more_than_half() -> None:
    night = hall().play(60, **all_but()).play(200, **all_but(0, 1, 2))
    assert ALARM not in night.alarms()
    assert {"p0/silent", "p1/silent", "p2/silent"} <= night.alarms()


def test_half_of_them_and_one_whose_battery_died_before_are_not_more_than_half() -> None:
    night = hall().play(60, **all_but()).play(90, **all_but(0))
    night.play(140, **all_but(0, 1, 2, 3))
    assert ALARM not in night.alarms()


def test_probes_that_fall_silent_one_after_the_other_are_batteries() -> None:
    """Ten minutes apart each."""
    night = hall().play(60, **all_but())
    for gone in range(1, COUNT):
        night.play(60 + 10 * gone, **all_but(*range(gone)))
    night.play(200, **all_but(*range(COUNT - 1)))
    assert ALARM not in night.alarms()


def test_five_minutes_of_it_are_nothing() -> None:
    night = hall().play(60, **all_but()).play(66).play(200, **all_but())
    assert not night.alarms()


def test_back_before_a_quarter_of_an_hour_it_was_nothing() -> None:
    night = hall().play(60, **all_but()).play(73).play(200, **all_but())
    assert ALARM not in night.alarms()


def test_slow_probes_fall_silent_together_as_well() -> None:
    night = hall(5 * MINUTE).play(61, **all_but()).play(200)
    (raised,) = night.raised(ALARM)
    assert raised <= 60 + 16
    assert set(pages(night)) == {ALARM}


def test_a_house_of_two_probes_is_told_probe_by_probe() -> None:
    night = Night(house(TANK, CELLAR, MID, courses=(course(),)))
    night.batch()
    night.play(60, mid=noisy(10.0)).play(120)
    assert night.alarms() == {"mid/silent"}


def test_a_drift_that_the_dark_hid_is_told_once_the_light_is_back() -> None:
    night = hall().play(60, **all_but()).play(180)
    late = all_but(3) | {"p3": noisy(10.8)}
    night.play(260, **late)
    assert "tank-3/warm" in night.alarms()


def test_probes_that_fall_silent_within_three_minutes_fell_together() -> None:
    """A switch dies before the next; five minutes apart they are two halves, and neither most."""
    for apart, dark in ((2, True), (5, False)):
        night = hall().play(60, **all_but()).play(60 + apart, **all_but(0, 1, 2)).play(120)
        assert (ALARM in night.alarms()) is dark


def test_it_is_told_from_the_first_that_fell_silent_and_of_how_many() -> None:
    night = hall().play(60, **all_but()).play(62, **all_but(0)).play(200)
    alarm = night.engine.alarm_manager.alarm("watch", "dark")
    assert alarm.since == night.start + 59 * MINUTE and alarm.value == COUNT
    assert night.raised(ALARM) == [61 + 15]


def test_three_silent_probes_are_the_fewest_that_make_it_dark() -> None:
    few = [msgspec.structs.replace(MID, id=f"p{n}") for n in range(3)]
    night = Night(house(TANK, CELLAR, *few, courses=(course(),)))
    night.batch()
    night.play(60, **{f"p{n}": noisy(10.0, seed=n + 1) for n in range(3)}).play(120)
    assert night.raised(ALARM) == [59 + 15]


def test_who_was_silent_for_two_hours_before_is_not_counted() -> None:
    """Three of six had fallen silent long ago: the other three are all that is left."""
    night = hall().play(10, **all_but()).play(140, **all_but(0, 1, 2)).play(200)
    assert night.raised(ALARM) == [139 + 15]


def test_it_is_over_when_more_than_half_answer_again() -> None:
    night = hall().play(60, **all_but()).play(130).play(150, **all_but(0, 1, 2))
    assert not night.over(ALARM), "half of them are not more than half"
    (over,) = night.play(170, **all_but(0, 1)).over(ALARM)
    assert over == 151


def test_while_the_watch_is_just_back_silence_means_nothing() -> None:
    """It was away itself until minute 95, and gives its probes five minutes to be heard."""
    night = hall().play(60, **all_but())
    night.engine.watched.state.blind = night.start + 100 * MINUTE
    assert night.play(200).raised(ALARM) == [100]
