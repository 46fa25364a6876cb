"""Most probes say that it is later than the watch believes."""

from __future__ import annotations

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
