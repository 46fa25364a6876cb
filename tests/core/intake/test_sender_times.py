"""What senders' times mean when the wall clock has stepped and theirs perhaps has not."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from kuraban.core.intake.sender_times import SenderTimes
from kuraban.core.units import DAY, HOUR, MINUTE

LATE = 10 * MINUTE
NOW = 1_770_000_000.0


def after(*aheads: float) -> SenderTimes:
    times = SenderTimes(LATE)
    for ahead in aheads:
        times.stepped(ahead, NOW - DAY)
    return times


def test_while_nothing_stepped_all_clocks_are_one() -> None:
    assert SenderTimes(LATE).plain
    assert SenderTimes(LATE).moment("t3", NOW, NOW) == NOW
    assert not after(HOUR).plain


def test_a_clock_that_went_along_is_brought_back() -> None:
    times = after(HOUR)
    assert times.moment("t3", NOW + HOUR - 5, NOW) == NOW - 5
    assert times.moment("t3", NOW + HOUR - 2 * HOUR, NOW) == NOW - 2 * HOUR, "a backfill"


def test_a_clock_that_stayed_is_believed_as_it_is() -> None:
    """From its first reading after the step, and its backfills too."""
    times = after(HOUR)
    assert times.moment("t3", NOW - 5, NOW) == NOW - 5
    assert times.moment("t3", NOW - 3 * HOUR, NOW + 60) == NOW - 3 * HOUR


def test_each_sender_is_found_out_by_itself() -> None:
    times = after(-9 * HOUR)
    assert times.moment("true", NOW, NOW) == NOW
    assert times.moment("along", NOW - 9 * HOUR, NOW) == NOW
    assert times.moment("true", NOW + 60, NOW + 60) == NOW + 60


def test_a_backfill_of_just_the_steps_length_is_no_reading_of_now() -> None:
    """Once a sender was heard, what it sends of an hour ago is of an hour ago."""
    times = after(HOUR)
    assert times.moment("t3", NOW + HOUR, NOW) == NOW
    assert times.moment("t3", NOW, NOW) == NOW - HOUR


def test_what_is_sent_at_once_goes_by_the_clock_of_its_newest() -> None:
    """Ours went an hour back, this board's did not: what it kept of just an hour ago is so old."""
    times = after(-HOUR)
    assert times.moment("t3", NOW - 300, NOW - 300) == NOW - 300
    times.newest("t3", NOW - 5, NOW)
    for minutes in (120, 65, 60, 30):
        assert times.moment("t3", NOW - minutes * MINUTE, NOW) == NOW - minutes * MINUTE
    assert times.moment("t3", NOW - HOUR, NOW + 300) == NOW, "by itself it is one that went along"
    times.newest("t3", NOW + 300, NOW + 300)
    assert times.moment("t4", NOW - HOUR, NOW + 300) == NOW, "another board's is not sent with it"


def test_what_a_board_kept_before_and_while_nobody_listened_goes_by_one_clock() -> None:
    """Its newest waited for the machine to wake; its oldest is older than anything that waited."""
    times = after(-HOUR, 0.0)
    times.back(NOW - 2 * HOUR, NOW)
    times.newest("store", NOW - 14 * MINUTE, NOW)
    for minutes in (132, 71, 14):
        assert times.moment("store", NOW - minutes * MINUTE, NOW) == NOW - minutes * MINUTE


def test_what_waited_for_the_watch_is_no_sign_of_a_wrong_clock() -> None:
    """The wall clock once stood an hour back and was put right. Now the watch was away for two
    hours: what waited, of an hour ago too, is as old as it says, and so is all that follows."""
    times = after(-HOUR, 0.0)
    times.back(NOW - 2 * HOUR, NOW)
    for minutes in (120, 70, 66, 60, 55, 20, 5, 0):
        told = NOW - minutes * MINUTE
        assert times.moment("t3", told, NOW + 1) == told


def test_what_is_sent_again_after_the_disk_was_full_is_no_sign_of_another_clock() -> None:
    """The wall clock went an hour back, this board's did not, and the broker tells the last hour
    once more, since nothing of it could be written."""
    times = after(-HOUR)
    assert times.moment("true", NOW, NOW) == NOW
    times.back(NOW - 2 * HOUR, NOW)
    for minutes in (70, 60, 20, 0):
        assert times.moment("true", NOW - minutes * MINUTE, NOW + 5) == NOW - minutes * MINUTE


def test_an_absence_within_which_another_began_is_one_with_it() -> None:
    """The wall clock was set back an hour; the broker was away for 47 minutes, and as it came back
    the disk failed for another half an hour. What waited has waited since the broker went."""
    times = after(-HOUR)
    assert times.moment("t3", NOW, NOW) == NOW
    times.back(NOW + 100, NOW + 48 * MINUTE)
    times.back(NOW + 25 * MINUTE, NOW + 80 * MINUTE)
    for minutes in (2, 6, 24, 40, 60, 79):
        at = NOW + minutes * MINUTE
        assert times.moment("t3", at, NOW + 80 * MINUTE) == at, minutes


def test_absences_with_a_while_between_are_two() -> None:
    """What was measured before the second waited for nobody; it goes by the clock it can."""
    early = NOW - 5 * MINUTE
    for gap, meant in ((1, early + HOUR), (0, early)):
        times = after(-HOUR)
        assert times.moment("t3", NOW - 20 * MINUTE, NOW - 20 * MINUTE) == NOW - 20 * MINUTE
        times.back(NOW, NOW + 10 * MINUTE)
        times.back(NOW + 10 * MINUTE + gap, NOW + 70 * MINUTE)
        assert times.moment("t3", early, NOW + 70 * MINUTE) == meant


def test_a_reading_of_now_is_not_one_that_waited_by_a_clock_of_yesterday() -> None:
    """The wall clock once stood an hour ahead and was put right. After an hour and a half away the
    last of what waited is of minutes ago: an hour earlier it would meet others and be dropped."""
    times = after(HOUR, 0.0)
    times.back(NOW - 90 * MINUTE, NOW)
    for minutes in (85, 30, 6, 2, 0):
        assert times.moment("t3", NOW - minutes * MINUTE, NOW + 1) == NOW - minutes * MINUTE


def test_what_may_have_waited_too_tells_nothing_of_its_sender() -> None:
    """This board goes an hour ahead. Of its readings that waited one looks like one of now; the
    next that cannot be of then is what it is known by."""
    times = after(HOUR, 0.0)
    times.back(NOW - 2 * HOUR, NOW)
    times.moment("t3", NOW, NOW + 1)
    assert times.moment("t3", NOW + 30 + HOUR, NOW + 30) == NOW + 30
    assert times.moment("t3", NOW - 60, NOW + 31) == NOW - 60 - HOUR


def test_a_step_just_after_a_start_makes_no_old_reading_of_a_new_one() -> None:
    """The wall clock goes an hour forward, this board's does not."""
    times = after(0.0)
    times.back(NOW - 2 * HOUR, NOW)
    times.stepped(HOUR, NOW + 1)
    assert times.moment("true", NOW + 60, NOW + 60) == NOW + 60


def test_what_waited_for_a_start_is_of_before_a_step_just_after_it() -> None:
    """Half an hour away, and the wall clock goes an hour forward before the broker has told what
    waited: that was measured, and dated, before; what follows by a board's own clock is of now."""
    times = after(0.0)
    times.back(NOW - 30 * MINUTE, NOW)
    times.stepped(HOUR, NOW + 1)
    for minutes in (29, 20, 11, 5):
        assert times.moment("t3", NOW - minutes * MINUTE, NOW + 5) == NOW - minutes * MINUTE
    assert times.moment("t3", NOW + 60, NOW + 60) == NOW + 60
    assert times.moment("along", NOW + HOUR + 60, NOW + 60) == NOW + 60


def test_what_came_just_before_a_step_is_read_by_the_clock_of_then() -> None:
    """The loop was late: it looked at the clock before it read what lay there."""
    times = SenderTimes(LATE)
    times.back(NOW - 2 * HOUR, NOW)
    times.stepped(-HOUR, NOW + 80)
    assert times.moment("t3", NOW - 65 * MINUTE, NOW + 5) == NOW - 65 * MINUTE
    assert times.moment("t4", NOW + 90 - HOUR, NOW + 90) == NOW + 90, "it went along"


def test_who_stayed_while_the_clock_was_wrong_is_believed_once_it_was_put_right_unheard() -> None:
    """An hour back for a while; put right as the broker was lost, and hours until anybody heard.
    By the hour what was kept would meet readings of the hour after it."""
    times = after(-HOUR)
    times.stepped(0.0, NOW - 2.5 * HOUR)
    times.back(NOW - 2.6 * HOUR, NOW)
    for hours in (2.6, 2.0, 1.1, 0.5):
        assert times.moment("true", NOW - hours * HOUR, NOW + 1) == NOW - hours * HOUR
    along = NOW - 2.6 * HOUR - HOUR
    assert times.moment("along", along, NOW + 1) == NOW - 2.6 * HOUR


def test_of_two_steps_unheard_what_waited_is_of_before_both() -> None:
    """An hour back while the machine slept, another as it woke, before the broker was there."""
    times = after(0.0)
    times.stepped(-HOUR, NOW - 10)
    times.stepped(-2 * HOUR, NOW - 5)
    times.back(NOW - 3 * HOUR, NOW)
    for hours in (2.9, 2.0, 1.1, 0.5):
        assert times.moment("true", NOW - hours * HOUR, NOW + 1) == NOW - hours * HOUR


def test_a_clock_that_stayed_is_believed_after_a_start_too() -> None:
    """The wall clock is nine hours back, the probe's is right."""
    times = after(-9 * HOUR)
    times.back(NOW - 2 * HOUR, NOW)
    assert times.moment("t3", NOW - HOUR, NOW + 1) == NOW - HOUR, "it waited for the watch"
    assert times.moment("t3", NOW, NOW + 1) == NOW


def test_what_waited_is_not_put_nine_hours_back_by_a_wrong_clock() -> None:
    """It would meet the readings that truly are of then, and be dropped for them."""
    times = after(9 * HOUR)
    times.back(NOW - 30 * MINUTE, NOW)
    for minutes in (29, 25, 12, 3):
        assert times.moment("t3", NOW - minutes * MINUTE, NOW + 1) == NOW - minutes * MINUTE
    along = NOW + 9 * HOUR - 20 * MINUTE
    assert times.moment("along", along, NOW + 1) == NOW - 20 * MINUTE


def test_a_clock_that_is_put_right_later_is_noticed() -> None:
    times = after(HOUR)
    assert times.moment("t3", NOW, NOW) == NOW
    assert times.moment("t3", NOW + HOUR + 60, NOW + 60) == NOW + 60
    assert times.moment("t3", NOW + 60, NOW + 120) == NOW + 60 - HOUR


def test_who_would_be_ahead_by_the_clock_found_goes_by_an_earlier_one() -> None:
    """Taken for one that went along, as it was silent since; its next reading tells better."""
    times = after(-HOUR)
    assert times.moment("t3", NOW - HOUR, NOW) == NOW
    assert times.moment("t3", NOW + 60, NOW + 60) == NOW + 60
    assert times.moment("t3", NOW + 120, NOW + 120) == NOW + 120


def test_what_fits_nothing_counts_by_the_wall_clock() -> None:
    assert after(HOUR).moment("t3", NOW + 3 * DAY, NOW) == NOW + 3 * DAY - HOUR


def test_when_our_clock_is_right_again_theirs_needs_no_finding_out() -> None:
    times = after(HOUR, 0.0)
    assert times.moment("t3", NOW - 5, NOW) == NOW - 5


@given(
    st.lists(st.integers(-4 * 86400, 4 * 86400).map(float), min_size=1, max_size=6),
    st.integers(0, 6), st.floats(0, LATE - 1),
)  # fmt: skip
def test_whichever_clock_a_current_reading_is_by_it_is_current(
    aheads: list[float], which: int, age: float
) -> None:
    """Never later than now by more than a board may be ahead, never older than `late_after`."""
    times = after(*aheads)
    by = [0.0, *aheads][which % (len(aheads) + 1)]
    at = times.moment("t3", NOW - age + by, NOW)
    assert NOW - LATE <= at <= NOW + 300


def test_a_current_reading_is_ten_minutes_old_or_five_ahead_at_most() -> None:
    """Just so much tells that a sender stayed with the earlier clock; a second more does not."""
    for told, seen in ((-LATE, True), (-LATE - 1, False), (300, True), (301, False)):
        times = after(9 * HOUR)
        assert times.moment("t3", NOW + told, NOW) == NOW + told - (0 if seen else 9 * HOUR)


def test_eight_earlier_clocks_are_tried_and_no_more() -> None:
    """After eight steps the first clock is still known, after nine it is forgotten."""
    eight = [n * HOUR for n in range(1, 9)]
    assert after(*eight).moment("t3", NOW, NOW) == NOW
    assert after(*eight, 9 * HOUR).moment("t3", NOW, NOW) == NOW - 9 * HOUR


def test_what_waited_is_believed_for_ten_minutes_after_the_start() -> None:
    for late, waited in ((599, True), (600, False)):
        times = after(-HOUR, 0.0)
        times.back(NOW - 2 * HOUR, NOW)
        told = NOW + late - HOUR
        assert times.moment("t3", told, NOW + late) == told if waited else NOW + late
