"""Most probes say that it is later than the watch believes."""

from __future__ import annotations

import msgspec
import pytest

from kuraban.core.engine.explaining import explain
from kuraban.core.facts import Reading
from kuraban.core.site import Probe
from tests.core.detectors.kit import CELLAR, TANK, Night, cellar, course, house, noisy

ALARM = "watch/clock-wrong"
NAMES = ("mid", "second", "third", "fourth")


def hall() -> Night:
    probes = [Probe(id=name, of="tank", measures="product") for name in NAMES]
    night = Night(house(TANK, CELLAR, *probes, courses=(course(),)))
    night.batch()
    return night


def tell(night: Night, until: float, ahead: dict[str, float]) -> None:
    """Boards that send their own time, so many minutes ahead of the watch."""
    true = noisy(10.0)
    while night.minute < until:
        for name in NAMES:
            stamp = night.moment(night.minute + ahead.get(name, 0.0))
            night.send(f"reading/{name}", f'{{"value": {true(night.minute)}, "at": "{stamp}"}}')
        night.play(night.minute + 1)


def test_one_board_ahead_is_that_boards_fault() -> None:
    night = hall()
    tell(night, 60, {"mid": 120.0})
    assert not night.alarms()
    assert {reading.at - reading.received for reading in night.readings} == {0.0}


def test_when_most_are_ahead_the_watchs_own_clock_is_the_likelier_one() -> None:
    night = hall()
    tell(night, 30, dict.fromkeys(NAMES, 60.0))
    (raised,) = night.raised(ALARM)
    assert raised <= 2
    assert {page.role for page in night.pages(ALARM)} == {"maintenance"}


def test_and_theirs_are_believed() -> None:
    night = hall()
    tell(night, 30, dict.fromkeys(NAMES, 60.0))
    assert night.readings[-1].at - night.readings[-1].received == 3600.0


def test_four_minutes_are_within_what_a_board_may_be_ahead() -> None:
    night = hall()
    tell(night, 30, dict.fromkeys(NAMES, 4.0))
    assert not night.alarms()


def test_half_of_them_are_not_most() -> None:
    night = hall()
    tell(night, 30, dict.fromkeys(NAMES[:2], 60.0))
    assert ALARM not in night.alarms()


def test_the_first_boards_that_speak_after_a_start_are_not_most() -> None:
    """Three of eight probes are heard first, and their board has no clock of its own."""
    names = [f"p{n}" for n in range(8)]
    probes = [Probe(id=name, of="tank", measures="product", every=300.0) for name in names]
    night = Night(house(TANK, CELLAR, *probes, courses=(course(),)))
    night.batch()
    for minute in range(40):
        for name in names[:3] if minute < 5 else names:
            ahead = 240.0 if name in names[:3] else 0.1
            stamp = night.moment(night.minute + ahead)
            night.send(f"reading/{name}", f'{{"value": {10.0 + minute / 100}, "at": "{stamp}"}}')
        night.play(night.minute + 1)
    assert ALARM not in night.alarms()


def test_the_boards_that_are_back_first_after_a_power_cut_are_not_most() -> None:
    """Four boards told the time right for an hour; then three are away and one has lost it."""
    names = [f"p{n}" for n in range(8)]
    probes = [Probe(id=name, of="tank", measures="product") for name in names]
    night = Night(house(TANK, CELLAR, *probes, courses=(course(),)))
    night.batch()
    for minute in range(120):
        for name in names if minute < 60 else names[:3]:
            ahead = 0.1 if minute < 60 else 240.0
            stamp = night.moment(night.minute + ahead)
            night.send(f"reading/{name}", f'{{"value": {10.0 + minute / 100}, "at": "{stamp}"}}')
        night.play(night.minute + 1)
    assert ALARM not in night.alarms()


def test_boards_that_are_late_prove_nothing_against_the_clock() -> None:
    night = hall()
    tell(night, 30, dict.fromkeys(NAMES, -8.0))
    assert ALARM not in night.alarms()


def test_when_the_clock_was_put_right_it_is_over() -> None:
    night = hall()
    tell(night, 30, dict.fromkeys(NAMES, 60.0))
    tell(night, 60, {})
    assert night.over(ALARM)


def test_boards_that_send_no_time_say_nothing_of_the_clock() -> None:
    night = Night(cellar())
    night.batch()
    assert ALARM not in night.play(60, mid=noisy(10.0), air=6.0).alarms()


def test_most_of_all_thermometers_and_three_at_least_speak_against_the_clock() -> None:
    night = hall()
    tell(night, 30, dict.fromkeys(NAMES[:3], 60.0))
    assert ALARM in night.alarms()
    assert night.engine.alarm_manager.alarm("watch", "clock-wrong").value == 60


def test_what_they_said_a_quarter_of_an_hour_ago_says_nothing_any_more() -> None:
    """The boards fell silent while they were ahead."""
    night = hall()
    tell(night, 10, dict.fromkeys(NAMES, 60.0))
    night.play(9 + 14)
    assert not night.over(ALARM)
    night.play(9 + 17)
    assert night.over(ALARM)


def stepped(night: Night, by: float) -> bool:
    """Somebody puts the wall clock forward by so many seconds, now; whether that is told."""
    clocks, now = night.engine.registry.clocks, night.start + 60 * night.minute
    before = clocks.told
    clocks.stepped(by, now)
    return bool(clocks.told != before)


def test_a_step_of_a_minute_is_told_either_way_and_a_shorter_one_is_not() -> None:
    for by, told in ((60.0, True), (-60.0, True), (59.0, False), (-59.0, False)):
        assert stepped(hall(), by) is told


def test_a_step_is_told_for_five_minutes() -> None:
    night = hall().play(10)
    assert stepped(night, 3600.0)
    night.play(11)
    assert night.stands(ALARM)
    assert night.evidence(ALARM) == ("went=21:10", "shows=22:10")
    night.play(14)
    assert night.stands(ALARM)
    night.play(16)
    assert not night.stands(ALARM)


def test_a_step_over_midnight_is_told_with_its_days() -> None:
    night = hall().play(10)
    stepped(night, 86400.0)
    night.play(12)
    assert night.evidence(ALARM) == ("went=2026-01-19 22:10", "shows=2026-01-20 22:10")


def test_within_six_hours_only_a_step_half_as_large_again_is_told() -> None:
    night = hall()
    assert stepped(night, 3600.0)
    night.play(5 * 60 + 59)
    assert not stepped(night, 5399.0) and stepped(night, -5400.0)
    night.play(12 * 60)
    assert stepped(night, 60.0)


@pytest.mark.parametrize(("ahead", "told"), [(5.0, False), (5.5, True), (9.0, True)])
def test_more_than_five_minutes_are_far_ahead(ahead: float, told: bool) -> None:
    night = hall()
    tell(night, 20, dict.fromkeys(NAMES, ahead))
    assert night.stands(ALARM) is told


def test_what_is_told_is_the_middle_of_what_the_boards_say_in_whole_minutes() -> None:
    night = hall()
    tell(night, 20, {"mid": 10.4, "second": 30.6, "third": 90.0, "fourth": 30.6})
    assert night.engine.alarm_manager.alarm("watch", "clock-wrong").value == 31


def test_a_step_is_over_before_the_ladders_second_rung() -> None:
    """Where that comes within five minutes, by then."""
    home = hall().home
    quick = msgspec.structs.replace(
        home, site=msgspec.structs.replace(home.site, ladder=(0, 120, 600))
    )
    for house_of, minutes in ((home, 5), (quick, 2)):
        night = Night(house_of).play(10)
        clocks = night.engine.registry.clocks
        clocks.stepped(3600.0, night.start + 600)
        assert clocks.until == night.start + 600 + 60 * minutes
        assert clocks.look(night.start + 600) == night.start + 660
        assert clocks.look(night.start + 600 + 60 * minutes - 30) == clocks.until
        assert clocks.look(clocks.until) == clocks.until + 60


def test_after_six_hours_a_small_step_is_told_again() -> None:
    night = hall()
    assert stepped(night, 3600.0)
    night.minute = 359.99
    assert not stepped(night, 120.0)
    night.minute = 360.0
    assert stepped(night, 120.0)


def test_a_reading_that_was_none_leaves_no_word_of_the_clock() -> None:
    night = hall()
    tell(night, 3, dict.fromkeys(NAMES, 0.0))
    clocks, now = night.engine.registry.clocks, night.start + 180
    before = clocks.heard[0], clocks.ahead[0]
    ahead = Reading("mid", now + 3600, 10.0, now)
    kept = clocks.hear(0, ahead)
    assert kept == before and (clocks.heard[0], clocks.ahead[0]) == (now, 3600.0)
    clocks.unhear(0, kept)
    assert (clocks.heard[0], clocks.ahead[0]) == before
    corrected = Reading("mid", now, 10.0, now, sent=now + 1800)
    clocks.hear(0, corrected)
    assert clocks.ahead[0] == 1800.0, "what it sent, not what it was taken for"


def test_asked_why_it_counts_the_boards_that_are_ahead() -> None:
    """One of four, and nothing is told; all four, and that stands beside the alarm."""
    night = hall()
    told = lambda: next(  # noqa: E731
        one.account for one in explain(night.engine, "watch").judged
        if one.account.condition == "clock-wrong"
    )  # fmt: skip
    tell(night, 30, {"mid": 60.0})
    (few,) = told().lacks
    tell(night, 60, dict.fromkeys(NAMES, 60.0))
    (most,) = told().seen
    assert (few.key, few.value, few.edge) == ("boards-ahead", 1.0, 4.0)
    assert (most.key, most.value, most.edge) == ("boards-ahead", 4.0, 4.0)
