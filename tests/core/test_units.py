"""Durations, times and brewery days as people write them."""

from __future__ import annotations

from datetime import date, datetime, timedelta, timezone
from itertools import pairwise
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


# Where the clocks change: an hour is missing in spring, one comes twice in autumn.

NEW_YORK = ZoneInfo("America/New_York")
LORD_HOWE = ZoneInfo("Australia/Lord_Howe")
"""Its clocks change by half an hour."""
ZONES = [BERLIN, NEW_YORK, LORD_HOWE, TOKYO]
CHANGES = {
    BERLIN: ("2026-03-29T00:00:00+01:00", "2026-10-25T00:00:00+02:00"),
    NEW_YORK: ("2026-03-08T00:00:00-05:00", "2026-11-01T00:00:00-04:00"),
    LORD_HOWE: ("2026-10-04T00:00:00+10:30", "2026-04-05T00:00:00+11:00"),
    TOKYO: ("2026-03-29T00:00:00+09:00",),
}
"""The nights, by their midnight."""


def nights(zone: ZoneInfo) -> list[float]:
    """Every five minutes of six hours about each change."""
    return [
        parse_time(midnight) - HOUR + 300 * step for midnight in CHANGES[zone] for step in range(72)
    ]


@pytest.mark.parametrize(
    ("zone", "day", "clock", "moment"),
    [
        (BERLIN, date(2026, 10, 25), 2.5, "2026-10-25T02:30:00+02:00"),
        (NEW_YORK, date(2026, 11, 1), 1.5, "2026-11-01T01:30:00-04:00"),
        (LORD_HOWE, date(2026, 4, 5), 1.75, "2026-04-05T01:45:00+11:00"),
    ],
)
def test_in_the_doubled_hour_a_clock_counts_when_it_is_shown_first(
    zone: ZoneInfo, day: date, clock: float, moment: str
) -> None:
    assert at_clock(day, clock * HOUR, zone) == parse_time(moment)
    again = parse_time(moment) + (HOUR if zone is not LORD_HOWE else HOUR / 2)
    assert datetime.fromtimestamp(again, zone).hour * HOUR <= clock * HOUR, "it comes once more"
    assert next_clock(again - 60, clock * HOUR, zone) > again + 20 * HOUR, "and that is passed over"


@pytest.mark.parametrize(
    ("zone", "day", "clock", "jump"),
    [
        (BERLIN, date(2026, 3, 29), 2.5, "2026-03-29T03:00:00+02:00"),
        (BERLIN, date(2026, 3, 29), 2.0, "2026-03-29T03:00:00+02:00"),
        (BERLIN, date(2026, 3, 29), 3.0, "2026-03-29T03:00:00+02:00"),
        (NEW_YORK, date(2026, 3, 8), 2.75, "2026-03-08T03:00:00-04:00"),
        (LORD_HOWE, date(2026, 10, 4), 2.25, "2026-10-04T02:30:00+11:00"),
    ],
)
def test_a_clock_of_the_missing_hour_is_the_moment_of_the_jump(
    zone: ZoneInfo, day: date, clock: float, jump: str
) -> None:
    assert at_clock(day, clock * HOUR, zone) == parse_time(jump)


@given(st.sampled_from(ZONES), st.integers(0, 287).map(lambda five: five * 300.0))
def test_each_hour_of_the_clock_comes_once_a_day_the_year_round(
    zone: ZoneInfo, clock: float
) -> None:
    at, days = at_clock(date(2026, 1, 1), clock, zone), [date(2026, 1, 1)]
    while days[-1] < date(2027, 1, 1):
        at = next_clock(at, clock, zone)
        days.append(datetime.fromtimestamp(at, zone).date())
    assert days == [date(2026, 1, 1) + timedelta(days=number) for number in range(366)]


@given(st.sampled_from(ZONES), st.integers(0, 95).map(lambda quarter: quarter * 900.0))
def test_a_brewery_day_never_goes_back(zone: ZoneInfo, turns: float) -> None:
    """Each moment lies in the day whose turn came last."""
    for midnight in CHANGES[zone]:
        about = [parse_time(midnight) - HOUR + 300 * step for step in range(72)]
        days = [brewery_day(at, turns, zone) for at in about]
        assert days == sorted(days)
        for at in about:
            assert day_turn(at, turns, zone) <= at < next_clock(at, turns, zone)


clocks = st.integers(0, 95).map(lambda quarter: quarter * 900.0)


@given(st.sampled_from(ZONES), clocks, clocks)
def test_day_shift_and_night_shift_share_every_moment_between_them(
    zone: ZoneInfo, start: float, end: float
) -> None:
    """Nobody is missing in the doubled hour, and nobody is there twice."""
    for at in nights(zone):
        both = within_hours(at, start, end, zone), within_hours(at, end, start, zone)
        assert sum(both) == (start != end)


@given(st.sampled_from(ZONES), clocks, clocks)
def test_hours_once_begun_are_not_broken_off_by_a_clock_put_back(
    zone: ZoneInfo, start: float, end: float
) -> None:
    """In six hours about a change they begin once at most and end once at most."""
    for midnight in CHANGES[zone]:
        held = [
            within_hours(parse_time(midnight) - HOUR + 300 * step, start, end, zone)
            for step in range(72)
        ]
        changes = [now for before, now in pairwise(held) if before != now]
        assert changes.count(True) <= 1 and changes.count(False) <= 1


@given(st.sampled_from(ZONES), clocks, clocks)
def test_outside_the_doubled_hour_the_wall_clock_says_who_is_there(
    zone: ZoneInfo, start: float, end: float
) -> None:
    for at in nights(zone):
        local = datetime.fromtimestamp(at, zone)
        doubled = local.utcoffset() != local.replace(fold=1 - local.fold).utcoffset()
        clock = local.hour * HOUR + local.minute * 60
        shown = start <= clock < end if start <= end else clock >= start or clock < end
        assert doubled or within_hours(at, start, end, zone) is shown
