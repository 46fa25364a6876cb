"""Time beyond a limit, beside the on- and off-delays of the standards."""

from __future__ import annotations

import random

import pytest

from kuraban.core.detectors.time_outside import TimeOutside
from kuraban.core.views.explanation import Because, Delay
from tests.trade.reference import Delayed, delayed_step, readings_to_alarm

# High limit 35.0, cleared at or below 35.0 less the deadband; on- and off-delay in readings as
# IEC 62682 and OPC 10000-9 (Annex B.1.5, OnDelay, OffDelay, Deadband) mean them; calculated.
SERIES = (34.8, 35.1, 34.9, 35.2, 34.95, 35.3, 35.4, 34.8, 34.6, 34.4, 34.9, 35.1)
VECTORS = (
    (0.0, 1, 1, "ALM1 RTN2 ALM3 RTN4 ALM5 RTN7 ALM11"),
    (0.5, 1, 1, "ALM1 RTN9 ALM11"),
    (0.0, 2, 1, "ALM6 RTN7"),
    (0.0, 1, 2, "ALM1 RTN8 ALM11"),
    (0.5, 2, 1, "ALM6 RTN9"),
)


def told(values: tuple[float, ...], deadband: float, on: int, off: int) -> str:
    """What the leaky clock makes of a reading a minute; n readings in a row are n - 1 minutes."""
    clock, events = TimeOutside(), []
    delay, off_delay = 60.0 * (on - 1), 60.0 * (off - 1)
    for number, value in enumerate(values):
        at = 60.0 * number
        clock.note(at, value > 35.0, value <= 35.0 - deadband, delay)
        reached = clock.reaches(delay)
        if clock.holds and clock.returned(off_delay):
            clock.fall_back()
            events.append(f"RTN{number}")
        elif not clock.holds and reached is not None and reached <= at:
            clock.holds = True
            events.append(f"ALM{number}")
    return " ".join(events)


def told_by_the_standard(values: tuple[float, ...], deadband: float, on: int, off: int) -> str:
    state, events = Delayed(35.0, deadband, on, off), []
    for number, value in enumerate(values):
        before, state = state.alarm, delayed_step(state, value)
        if state.alarm != before:
            events.append(f"{'ALM' if state.alarm else 'RTN'}{number}")
    return " ".join(events)


@pytest.mark.parametrize(("deadband", "on", "off", "events"), VECTORS)
def test_a_short_series_is_told_as_the_standards_tell_it(
    deadband: float, on: int, off: int, events: str
) -> None:
    assert told_by_the_standard(SERIES, deadband, on, off) == events
    assert told(SERIES, deadband, on, off) == events


@pytest.mark.parametrize("on", [2, 3, 5])
@pytest.mark.parametrize("beyond", [0.2, 1.0])
def test_what_stays_outside_is_told_at_the_very_reading_of_the_standard(
    on: int, beyond: float
) -> None:
    series = (34.0,) * 4 + (35.0 + beyond,) * 8
    assert told(series, 0.0, on, 1) == told_by_the_standard(series, 0.0, on, 1) == f"ALM{3 + on}"


def test_three_readings_out_and_one_in_are_an_exit_that_the_standard_never_tells() -> None:
    """Here the clock deliberately differs: an on-delay starts anew at every short return, and
    the saw-tooth of a tank that left its band would hide behind it for ever."""
    series = (35.3, 35.3, 35.3, 34.9) * 8
    assert told_by_the_standard(series, 0.0, 5, 1) == ""
    assert told(series, 0.0, 5, 1).startswith("ALM")


@pytest.mark.parametrize("pattern", [(35.2, 34.8), (35.2, 34.8, 34.8), (35.2, 35.2, 34.8, 34.8)])
def test_what_is_inside_at_least_half_of_the_time_is_never_told(pattern: tuple[float, ...]) -> None:
    assert told(pattern * 50, 0.0, 5, 1) == ""


def test_a_reading_that_is_rarely_outside_rings_no_sooner_than_by_the_standard_twice_over() -> None:
    """One reading in six beyond the limit by chance (a mean 1 sigma inside), a delay of five.

    Independent readings ring by the standard once in 11 822: (1 - p^n) / ((1 - p) p^n), after
    Adnan, Izadi & Chen, J. Process Control 21 (2011) 1318. The leaky clock forgives a gap, so it
    rings oftener, as a gambler's walk with a floor does; the delay must be chosen for it.
    """
    p = 0.158655
    assert readings_to_alarm(p, 5) == pytest.approx(11822, rel=0.001)
    lot, clock, rings, count = random.Random(5), TimeOutside(), 0, 200_000
    for number in range(count):
        out = lot.random() < p
        clock.note(60.0 * number, out, not out, 240.0)
        reached = clock.reaches(240.0)
        if reached is not None and reached <= 60.0 * number:
            rings += 1
            clock.fall_back()
    assert 500 < count / rings < 11822


def test_the_exit_began_when_the_product_first_left() -> None:
    clock = TimeOutside()
    for minute, out in enumerate([False, True, True, False, True, True]):
        clock.note(60.0 * minute, out, not out, 3600.0)
    assert clock.since == 60.0
    assert clock.reaches(3600.0) == 300.0 + 3600.0 - 120.0


def test_after_the_time_outside_was_given_back_a_new_exit_has_a_new_beginning() -> None:
    clock = TimeOutside()
    for minute, out in enumerate([True, False, False, False, True]):
        clock.note(60.0 * minute, out, not out, 3600.0)
    assert clock.since == 240.0


def test_a_record_of_the_time_outside_counts_as_if_it_had_been_seen() -> None:
    clock = TimeOutside()
    clock.note(7200.0, True, False, 3600.0)
    clock.credit(5400.0, 7200.0, 3600.0)
    assert clock.since == 5400.0
    assert clock.reaches(3600.0) == 7200.0 + 1800.0


def test_the_next_exit_needs_its_whole_delay_again() -> None:
    clock = TimeOutside()
    clock.note(0.0, True, False, 600.0)
    clock.note(600.0, False, True, 600.0)
    clock.fall_back()
    clock.note(660.0, True, False, 600.0)
    assert clock.reaches(600.0) == 1260.0


def test_a_reading_older_than_the_last_turns_nothing_back() -> None:
    clock = TimeOutside()
    clock.note(600.0, True, False, 3600.0)
    clock.note(0.0, True, False, 3600.0)
    clock.note(1200.0, True, False, 3600.0)
    assert clock.reaches(3600.0) == 600.0 + 3600.0


def test_it_has_returned_only_when_inside_by_the_deadband_for_the_whole_off_delay() -> None:
    clock = TimeOutside()
    clock.note(0.0, False, True, 600.0)
    clock.note(239.0, False, True, 600.0)
    assert not clock.returned(300.0)
    clock.note(240.0, False, False, 600.0)
    clock.note(300.0, False, True, 600.0)
    clock.note(599.0, False, True, 600.0)
    assert not clock.returned(300.0)
    clock.note(600.0, False, True, 600.0)
    assert clock.returned(300.0)


@pytest.mark.parametrize(("delay", "minutes"), [(20, 10), (60, 30), (240, 30)])
def test_when_half_the_delay_is_spent_somebody_looks_when_it_truly_left(
    delay: float, minutes: float
) -> None:
    """Half an hour at most."""
    clock = TimeOutside()
    clock.note(0.0, True, False, 60.0 * delay)
    clock.note(60.0 * minutes - 1, True, False, 60.0 * delay)
    assert not clock.to_look_back(60.0 * delay)
    clock.note(60.0 * minutes, True, False, 60.0 * delay)
    assert clock.to_look_back(60.0 * delay)
    clock.looked = True
    assert not clock.to_look_back(60.0 * delay), "once is enough"


def test_it_rests_when_it_is_inside_and_all_is_given_back() -> None:
    clock = TimeOutside()
    assert clock.rests
    clock.note(0.0, True, False, 600.0)
    clock.note(60.0, False, True, 600.0)
    assert not clock.rests
    clock.note(120.0, False, True, 600.0)
    assert clock.rests
    clock.holds = True
    assert not clock.rests


def test_what_the_record_shows_counts_from_there() -> None:
    clock = TimeOutside()
    clock.note(600.0, True, False, 3600.0)
    clock.credit(0.0, 600.0, 3600.0)
    assert clock.since == 0.0 and clock.reaches(3600.0) == 3600.0
    clock.credit(300.0, 600.0, 3600.0)
    assert clock.since == 0.0 and clock.spent == 600.0, "the earlier record stands"
    clock.credit(-9000.0, 600.0, 3600.0)
    assert clock.spent == 3600.0, "no more than the delay"


def test_over_is_over_and_a_new_exit_needs_its_whole_delay() -> None:
    clock = TimeOutside()
    clock.note(0.0, True, False, 600.0)
    clock.note(600.0, True, False, 600.0)
    clock.holds = True
    clock.fall_back()
    assert (clock.spent, clock.since, clock.holds) == (0.0, None, False)
    assert clock.reaches(600.0) == 1200.0
    clock.reset()
    assert clock.reaches(600.0) is None and not clock.returned(0.0)


# ------------------------------------------------------------------------------ for whoever asks

MUST = Because("must-rise", 10.0, 10.5)


def test_what_is_spent_is_told_to_the_moment_of_asking_and_never_more_than_the_delay() -> None:
    """Outside from 0 to 120, inside for a minute, asked at 200; then outside again."""
    clock = TimeOutside()
    assert clock.told(600.0, 0.0) is None, "nothing is"
    clock.note(0.0, True, False, 600.0)
    assert clock.told(600.0, 0.0) == Delay(0.0, "seen", 0.0, 600.0, 600.0)
    clock.note(120.0, False, False, 600.0)
    clock.note(180.0, False, False, 600.0)
    assert clock.told(600.0, 200.0) == Delay(0.0, "seen", 60.0, 600.0, None)
    clock.note(240.0, True, False, 600.0)
    assert clock.told(600.0, 300.0) == Delay(240.0, "seen", 60.0, 600.0, 840.0)
    assert clock.told(600.0, 200.0) == Delay(240.0, "seen", 0.0, 600.0, 840.0), "no less than none"
    assert clock.told(600.0, 9000.0) == Delay(240.0, "seen", 600.0, 600.0, 840.0)
    clock.credit(0.0, 240.0, 600.0)
    assert clock.told(600.0, 240.0) == Delay(0.0, "record", 240.0, 600.0, 600.0)
    clock.holds = True
    assert clock.told(600.0, 240.0) == Delay(0.0, "record", 600.0, 600.0, 600.0)


def test_a_record_that_shows_no_more_than_was_seen_is_what_was_seen() -> None:
    clock = TimeOutside()
    clock.note(0.0, True, False, 600.0)
    clock.credit(0.0, 60.0, 600.0)
    assert (clock.how, clock.since, clock.spent) == ("seen", 0.0, 60.0)
    fresh = TimeOutside()
    fresh.credit(30.0, 60.0, 600.0)
    assert (fresh.how, fresh.since, fresh.spent) == ("record", 30.0, 30.0)


def test_what_lacks_is_a_way_out_or_the_rest_of_the_delay_and_the_end_of_a_mask() -> None:
    clock = TimeOutside()
    assert clock.lacks(600.0, MUST, 0.0, quiet=900.0) == (MUST,), "inside, a mask holds nothing"
    clock.note(0.0, True, False, 600.0)
    runs = Because("runs-out", until=600.0, lasted=240.0, wanted=600.0)
    held = Because("held", until=900.0)
    assert clock.lacks(600.0, MUST, 240.0) == (runs,)
    assert clock.lacks(600.0, MUST, 240.0, quiet=900.0) == (runs, held)
    assert clock.lacks(600.0, MUST, 600.0, quiet=900.0) == (held,)
    assert clock.lacks(600.0, MUST, 900.0, quiet=900.0) == ()


def test_two_words_of_one_moment_spend_nothing() -> None:
    clock = TimeOutside()
    clock.note(60.0, False, True, 600.0)
    clock.note(60.0, True, False, 600.0)
    assert (clock.spent, clock.since, clock.inside_since) == (0.0, 60.0, None)
    clock.note(120.0, True, False, 600.0)
    clock.note(90.0, True, False, 600.0)
    assert (clock.spent, clock.last) == (60.0, 120.0)
