"""Durations, times and brewery days as people write them."""

from __future__ import annotations

from datetime import date, datetime, timedelta, timezone
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kuraban.core.units import (
    DAY,
    HOUR,
    LONGEST_DURATION,
    at_clock,
    brewery_day,
    day_turn,
    next_clock,
    parse_clock,
    parse_duration,
    parse_time,
    show_duration,
    show_time,
    within_hours,
)

TOKYO = ZoneInfo("Asia/Tokyo")
BERLIN = ZoneInfo("Europe/Berlin")


@pytest.mark.parametrize(
    ("text", "seconds"),
    [("90s", 90), ("20m", 1200), ("3h", 10800), ("2d", 172800), ("0m", 0), ("1.5h", 5400)],
)
def test_a_duration_is_read_as_written(text: str, seconds: float) -> None:
    assert parse_duration(text) == seconds


@pytest.mark.parametrize(
    "text", ["", "3", "3 h", "-1h", "1h30m", "h", "1e3s", "２０m", 5, None, True, "9" * 400 + "d"]
)
def test_what_is_no_duration_is_told_how_one_looks(text: object) -> None:
    with pytest.raises(ValueError, match='"90s", "20m", "3h" or "2d"'):
        parse_duration(text)


@given(st.floats(0, LONGEST_DURATION))
def test_a_duration_shown_is_the_same_when_read(seconds: float) -> None:
    assert parse_duration(show_duration(seconds)) == seconds


def test_a_duration_is_shown_the_short_way() -> None:
    assert [show_duration(s) for s in (0, 5400, 7200, 172800, 0.5, 100001)] == [
        "0s", "90m", "2h", "2d", "0.5s", "100001s",
    ]  # fmt: skip


@pytest.mark.parametrize(
    "stamp",
    [
        "2026-02-01T03:10:00+09:00", "2026-01-31T18:10:00Z", "2026-01-31t18:10:00z",
        "2026-01-31T18:10:00.000-00:00", " 2026-02-01T03:10+09:00 ", 1769883000, 1769883000.0,
    ],
)  # fmt: skip
def test_one_moment_has_many_spellings(stamp: object) -> None:
    assert parse_time(stamp) == 1769883000.0  # RFC 3339, section 5.6


def test_a_leap_second_is_the_one_after_it() -> None:
    assert parse_time("2016-12-31T23:59:60Z") == parse_time("2017-01-01T00:00:00Z")  # RFC 3339, 5.7


@pytest.mark.parametrize(
    "stamp",
    [
        "", "noon", "2026-02-01", "03:10", "2026-02-01T03:10:00", "2026-02-01 03:10:00+09:00",
        "2026-02-30T03:10:00Z", "2026-02-01T03:10:61Z", "2026-02-01T03:59:60", True, None, [],
        float("nan"), float("inf"), 10**400, "\ud800",
    ],
)  # fmt: skip
def test_what_is_no_moment_is_told_how_one_looks(stamp: object) -> None:
    with pytest.raises(ValueError, match="Unix seconds"):
        parse_time(stamp)


def test_milliseconds_are_recognised_and_refused() -> None:
    with pytest.raises(ValueError, match="looks like milliseconds"):
        parse_time(1769883000000)


@given(st.floats(0, 4e9))
def test_a_time_shown_is_the_same_when_read_to_the_millisecond(at: float) -> None:
    assert abs(parse_time(show_time(at, TOKYO)) - at) < 0.00051


@given(
    st.datetimes(datetime(1971, 1, 1), datetime(2099, 12, 31)),
    st.integers(-14 * 60, 14 * 60),
    st.sampled_from(["minutes", "seconds", "milliseconds", "microseconds"]),
)
def test_a_time_is_the_moment_that_it_names_to_the_last_digit(
    moment: datetime, offset: int, until: str
) -> None:
    """Minutes are looked up; Python's own reading of the whole text is the witness."""
    there = moment.replace(tzinfo=timezone(timedelta(minutes=offset)))
    for stamp in (there.isoformat(timespec=until), there.isoformat(timespec=until).lower()):
        assert parse_time(stamp) == datetime.fromisoformat(stamp.upper()).timestamp()
    zulu = moment.isoformat(timespec=until) + "Z"
    assert parse_time(zulu) == datetime.fromisoformat(zulu).timestamp()


@pytest.mark.parametrize(
    "stamp", ["2026-02-01T03:10:1e+09:00", "2026-02-01T03:10:10.1x0+09:00", "2026-02-01T03:10:10",
              "2026-02-01T03:10:١٢+09:00", "2026-02-01T03:10:10.120+25:00", "T03:10:10+09:00"],
)  # fmt: skip
def test_what_only_looks_like_a_time_is_none(stamp: str) -> None:
    with pytest.raises(ValueError, match="is not a time"):
        parse_time(stamp)


def test_a_time_of_day_is_hours_and_minutes() -> None:
    assert (parse_clock("06:00"), parse_clock("23:59"), parse_clock("24:00")) == (
        6 * HOUR, 23 * HOUR + 59 * 60, DAY,
    )  # fmt: skip


@pytest.mark.parametrize("text", ["6:00", "24:01", "12:60", "0６:00", 6, None])
def test_what_is_no_time_of_day_is_told_how_one_looks(text: object) -> None:
    with pytest.raises(ValueError, match="06:00"):
        parse_clock(text)


def test_the_brewery_day_turns_in_the_morning() -> None:
    before = parse_time("2026-02-01T05:59:59+09:00")
    assert brewery_day(before, 6 * HOUR, TOKYO) == date(2026, 1, 31)
    assert brewery_day(before + 1, 6 * HOUR, TOKYO) == date(2026, 2, 1)
    assert day_turn(before, 6 * HOUR, TOKYO) == parse_time("2026-01-31T06:00:00+09:00")


def test_the_day_of_the_clock_change_still_turns_at_six() -> None:
    """Berlin loses an hour in the night to 2026-03-29."""
    noon = parse_time("2026-03-29T12:00:00+02:00")
    assert day_turn(noon, 6 * HOUR, BERLIN) == parse_time("2026-03-29T06:00:00+02:00")
    evening = at_clock(date(2026, 3, 28), 20 * HOUR, BERLIN)
    assert next_clock(evening, 6 * HOUR, BERLIN) - evening == 9 * HOUR


def test_the_next_hour_of_the_clock_lies_ahead() -> None:
    at = parse_time("2026-02-01T20:30:00+09:00")
    assert next_clock(at, 20.5 * HOUR, TOKYO) == at + DAY
    assert next_clock(at - 1, 20.5 * HOUR, TOKYO) == at


def test_a_night_watch_crosses_midnight() -> None:
    night = (18 * HOUR, 8 * HOUR)
    clock = {hour: at_clock(date(2026, 2, 1), hour * HOUR, TOKYO) for hour in (3, 8, 12, 18)}
    held = {hour: within_hours(at, *night, TOKYO) for hour, at in clock.items()}
    assert held == {3: True, 8: False, 12: False, 18: True}
    assert within_hours(clock[12], 6 * HOUR, DAY, TOKYO)


@pytest.mark.parametrize("stamp", ["9999-12-31T23:59:60Z", "9999-12-31T23:59:60-23:59"])
def test_a_second_after_the_last_year_is_no_time(stamp: str) -> None:
    """It has no place in any calendar, and is refused like every other nonsense."""
    with pytest.raises(ValueError, match="is not a time"):
        parse_time(stamp)
