"""The wall clock's time and the watch's, whatever steps lie between them."""

from __future__ import annotations

from datetime import UTC, datetime
from math import inf
from typing import NamedTuple
from zoneinfo import ZoneInfo

from hypothesis import given
from hypothesis import strategies as st

from kuraban.core.timescale import (
    Piece,
    Pieces,
    Timescale,
    by_the_wall,
    moment_of,
    pieces_of,
    redated,
    stretches_of,
    wall_of,
)
from kuraban.core.units import (
    DAY,
    HOUR,
    MINUTE,
    at_clock,
    brewery_day,
    day_turn,
    next_clock,
    parse_time,
    show_time,
    within_hours,
)
from tests.kept import kept_and_read

TOKYO = ZoneInfo("Asia/Tokyo")
NIGHT = parse_time("2026-02-02T03:10:00+09:00")


class Step(NamedTuple):
    since: float
    ahead: float


def scale(*pieces: tuple[float, float]) -> Timescale:
    return Timescale(TOKYO, tuple(Piece(*one) for one in pieces))


# What a step does to the pieces.


def test_a_step_gives_all_that_the_watch_has_seen_another_name() -> None:
    """Elapsed time is exact since it looks on; what was before stays as it was called."""
    once = redated((), Step(NIGHT, 3600.0))
    assert once == (Piece(NIGHT, 3600.0),)
    assert redated(once, Step(NIGHT, -1800.0)) == (Piece(NIGHT, -1800.0),)
    later = redated(once, Step(NIGHT + DAY, 0.0))
    assert later == (Piece(NIGHT, 3600.0), Piece(NIGHT + DAY, 0.0))


def test_a_clock_that_was_put_right_again_leaves_nothing() -> None:
    assert pieces_of([Step(NIGHT, 3600.0), Step(NIGHT, 0.0)]) == ()
    assert pieces_of([]) == ()


# Times of day on both sides of a step.


def test_without_a_step_a_zone_is_that_zone() -> None:
    assert wall_of(NIGHT, TOKYO) == NIGHT == moment_of(NIGHT, TOKYO)
    plain = Timescale(TOKYO, ())
    assert show_time(NIGHT, plain) == show_time(NIGHT, TOKYO)
    assert next_clock(NIGHT, 6 * HOUR, plain) == next_clock(NIGHT, 6 * HOUR, TOKYO)


def test_a_time_is_shown_as_the_wall_clock_shows_it() -> None:
    """Ten past three by the wall clock that went an hour back is ten past four of the watch."""
    back = scale((NIGHT - DAY, -3600.0))
    assert show_time(NIGHT + HOUR, back) == "2026-02-02T03:10:00+09:00"
    assert f"{datetime.fromtimestamp(NIGHT + HOUR, back):%H:%M}" == "03:10"
    assert show_time(NIGHT - 2 * DAY, back) == show_time(NIGHT - 2 * DAY, TOKYO)


def test_hours_and_days_go_by_the_wall_clock() -> None:
    nine = scale((NIGHT - HOUR, -9 * HOUR))
    assert within_hours(NIGHT, 18 * HOUR, 19 * HOUR, nine)
    assert brewery_day(NIGHT, 6 * HOUR, nine).isoformat() == "2026-02-01"
    assert next_clock(NIGHT, 6 * HOUR, nine) == NIGHT + 11 * HOUR + 50 * MINUTE
    turn = parse_time("2026-02-01T06:00:00+09:00")
    assert day_turn(NIGHT, 6 * HOUR, nine) == turn, "before the watch began, by the clock of then"


def test_what_the_clock_skipped_is_where_it_was_put_forward() -> None:
    forward = scale((NIGHT, 2 * HOUR))
    assert moment_of(NIGHT + HOUR, forward) == NIGHT
    assert moment_of(NIGHT + 3 * HOUR, forward) == NIGHT + HOUR


def test_what_it_showed_twice_is_the_later_of_the_two() -> None:
    """But for whoever asks for what was before."""
    back = scale((NIGHT, -HOUR))
    assert moment_of(NIGHT - 1800.0, back) == NIGHT + 1800.0
    assert moment_of(NIGHT - 1800.0, back, NIGHT) == NIGHT - 1800.0
    assert moment_of(NIGHT - 2 * HOUR, back) == NIGHT - 2 * HOUR


def test_the_next_six_oclock_after_a_step_is_by_the_new_clock() -> None:
    """One that the clock was put over never was; one that it shows twice comes twice."""
    forward, back = scale((NIGHT + 2 * HOUR, 2 * HOUR)), scale((NIGHT + 3 * HOUR, -HOUR))
    assert next_clock(NIGHT, 6 * HOUR, forward) == NIGHT - 10 * MINUTE + 25 * HOUR
    first = next_clock(NIGHT, 6 * HOUR, back)
    assert (first - NIGHT, next_clock(first, 6 * HOUR, back) - first) == (170 * MINUTE, HOUR)
    assert [stretch.ahead for stretch in stretches_of(NIGHT, back)] == [0.0, -HOUR]
    assert [*stretches_of(NIGHT, TOKYO)] == [(NIGHT, inf, 0.0)]


def test_it_goes_through_a_checkpoint() -> None:
    known = scale((NIGHT, -HOUR))
    again = kept_and_read(known)
    assert (again.plain, again.pieces) == (known.plain, known.pieces)


def test_it_answers_what_a_zone_is_asked() -> None:
    known, moment = scale((NIGHT, -HOUR)), datetime(2026, 2, 2, 3, 10)
    assert known.utcoffset(moment) == TOKYO.utcoffset(moment)
    assert (known.dst(moment), known.tzname(moment)) == (TOKYO.dst(moment), "JST")
    assert known.utcoffset(None) is None


def test_another_program_gets_the_wall_clocks_times() -> None:
    """Whatever else stands beside them stays what it is."""
    told = {"at": NIGHT, "value": 10.4, "times": (NIGHT, 3), "name": "t3", "bytes": 2_000_000_000}
    found = by_the_wall(told, scale((0.0, HOUR)))
    assert found == told | {"at": NIGHT + HOUR, "times": [NIGHT + HOUR, 3]}
    assert by_the_wall(told, TOKYO) is told


# Whatever happens to the clock.

seconds = st.integers(-20 * 86400, 20 * 86400).map(float)
starts = st.lists(st.integers(0, 60 * 86400), min_size=1, max_size=6, unique=True)
fractions = st.sampled_from((0.0, 0.0001001, 0.25, 0.9996)) | st.floats(0.0, 0.999)


@st.composite
def clocks(draw: st.DrawFn) -> Pieces:
    """Any pieces that steps and starts can leave, between two seconds too."""
    since = sorted(NIGHT + start + draw(fractions) for start in draw(starts))
    steps = [Step(start, draw(seconds)) for start in since for _ in range(draw(st.integers(0, 2)))]
    return pieces_of(steps)


moments = st.integers(-5 * 86400, 90 * 86400).map(lambda after: NIGHT + after)


@given(clocks(), moments)
def test_what_is_shown_and_typed_in_again_is_the_same_time_of_day(
    pieces: Pieces, at: float
) -> None:
    """And the same moment, but where the clock showed it once more later."""
    zone = Timescale(TOKYO, pieces)
    again = moment_of(parse_time(show_time(at, zone)), zone)
    assert again >= at
    assert wall_of(again, zone) == wall_of(at, zone)
    assert moment_of(wall_of(at, zone), zone, at) == at


@given(clocks(), moments)
def test_the_next_six_oclock_lies_ahead(pieces: Pieces, at: float) -> None:
    zone = Timescale(TOKYO, pieces)
    found = next_clock(at, 6 * HOUR, zone)
    assert found > at
    assert f"{datetime.fromtimestamp(found, zone):%H:%M:%S}" == "06:00:00"
    last = pieces[-1].since if pieces else at
    assert found <= max(at, last) + DAY
    assert day_turn(at, 6 * HOUR, zone) <= at


def test_a_step_between_two_milliseconds_stops_no_calendar() -> None:
    """Set back three days and right again, the clock named the second moment by the first's day."""
    zone = scale((NIGHT + 0.0001001, -3 * DAY), (NIGHT + 4 * HOUR + 0.0001001, 0.0))
    turns = [NIGHT - DAY]
    for _ in range(3):
        turns.append(next_clock(turns[-1], 6 * HOUR, zone))
    assert turns == sorted(set(turns))
    assert show_time(NIGHT + 4 * HOUR + 0.0001001, zone) == show_time(NIGHT + 4 * HOUR, TOKYO)


@given(clocks(), moments)
def test_every_time_of_day_has_its_moment(pieces: Pieces, at: float) -> None:
    zone = Timescale(TOKYO, pieces)
    local = datetime.fromtimestamp(at, zone)
    assert local.tzinfo is TOKYO
    assert local.timestamp() == wall_of(at, zone)
    assert local.astimezone(UTC).timestamp() == wall_of(at, zone)
    passed = local.hour * HOUR + local.minute * MINUTE + local.second
    assert at_clock(local.date(), passed, zone, at) == at
