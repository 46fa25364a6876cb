"""Durations, times and days as people write them, turned into seconds and back.

Inside the watch a time is Unix seconds (float), a duration is seconds (float). A brewery day turns
at the site's hour (06:00 by default), not at midnight, and is counted in the site's own time zone,
by the wall clock (`kuraban.core.timescale` says how the two go together).

Where clocks change, every hour of the clock is still one moment of each day: the first at which it
is shown, or, in the hour that is left out, that of the change. So nothing comes twice in the night
in which an hour is doubled, nothing is left out with the hour that is missing, and who is on duty
from an hour or until it is so once.
"""

from __future__ import annotations

import re
from bisect import bisect_left
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from decimal import Decimal
from math import inf

from kuraban.core.timescale import moment_of, plain_of, stretches_of, wall_of

MINUTE = 60.0
HOUR = 3600.0
DAY = 86400.0

BOARD_EPOCH = 1577836800.0
"""2020-01-01T00:00:00Z: a board that tells an earlier time has no clock."""
LAST_MOMENT = 4102444800.0
"""2100-01-01T00:00:00Z: no entry is about a later time, however its year was typed."""
AHEAD = 300.0
"""Seconds that a sender's clock may be ahead of ours and still be believed."""
LONGEST_DURATION = 3660 * DAY

_DURATION = re.compile(r"(\d+(?:\.\d+)?)(s|m|h|d)", re.ASCII)
_UNIT = {"s": 1.0, "m": MINUTE, "h": HOUR, "d": DAY}
_CLOCK = re.compile(r"([01]\d|2[0-3]):([0-5]\d)", re.ASCII)
_LEAP_SECOND = re.compile(r"(.*:59):60(.*)", re.ASCII)
_MINUTE = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:(Z|[+-]\d\d:?\d\d)", re.ASCII)
_SECONDS = {f"{second:02}": float(second) for second in range(60)}
_THOUSANDTHS = {f"{part:03}": part / 1000 for part in range(1000)}
_MINUTES_KEPT = 1024
_LAST = datetime.max.replace(tzinfo=UTC) - timedelta(days=2)
ID = re.compile(r"[a-z0-9][a-z0-9-]*")


def parse_duration(text: object) -> float:
    """Seconds of a duration such as "90s", "20m", "3h", "2d", at most ten years.

    ValueError says what is right.
    """
    if isinstance(text, str):
        found = _DURATION.fullmatch(text.strip())
        if found is not None and (seconds := float(found[1]) * _UNIT[found[2]]) <= LONGEST_DURATION:
            return seconds
    raise ValueError(f'{text!r} is not a duration such as "90s", "20m", "3h" or "2d"')


def show_duration(seconds: float) -> str:
    """The shortest exact spelling of a duration, "90m" rather than "1.5h"."""
    for unit in ("d", "h", "m"):
        if seconds and seconds % _UNIT[unit] == 0:
            return f"{seconds / _UNIT[unit]:.0f}{unit}"
    return f"{Decimal(repr(float(seconds))).normalize():f}s"


def parse_time(stamp: object) -> float:
    """Unix seconds of an RFC 3339 time with an offset, or of Unix seconds themselves.

    A leap second is the second after it. ValueError for anything else, a time without an offset
    included.
    """
    if isinstance(stamp, str):
        try:
            return _usual(stamp)
        except (LookupError, ValueError):
            pass
        moment = _moment(stamp.strip().upper())
        if moment is not None:
            return moment.timestamp()
    elif isinstance(stamp, (int, float)) and not isinstance(stamp, bool):
        if -1e11 < stamp < 1e11:
            return float(stamp)
        if 1e11 <= stamp < 1e14:
            raise ValueError(f"{stamp!r} looks like milliseconds; Unix seconds are right")
    raise ValueError(f'{stamp!r} is not a time such as "2026-02-01T03:10:00+09:00" or Unix seconds')


def _usual(stamp: str) -> float:
    """A time to the second or a part of it, its minute looked up: every reading brings two.

    LookupError or ValueError for whatever is spelled otherwise.
    """
    zone = 23 if stamp[19] == "." else 19
    minute = _minutes.get(stamp[:17] + stamp[zone:])
    if minute is None:
        return _first_of_its_minute(stamp)
    if zone == 19:
        return minute + _SECONDS[stamp[17:19]]
    return minute + (_SECONDS[stamp[17:19]] + _THOUSANDTHS[stamp[20:23]])


def _first_of_its_minute(stamp: str) -> float:
    """The same of a minute that is not known yet, and of a time to the millionth."""
    second = _SECONDS[stamp[17:19]]
    if stamp[19] != ".":
        return _minute(stamp[:17] + stamp[19:]) + second
    second += _THOUSANDTHS[stamp[20:23]]
    millionths = _THOUSANDTHS.get(stamp[23:26])
    if millionths is None:
        return _minute(stamp[:17] + stamp[23:]) + second
    return _minute(stamp[:17] + stamp[26:]) + (second + millionths / 1000)


def _minute(stamp: str) -> float:
    """Unix seconds of "2026-02-01T03:10:+09:00", a time without its seconds; kept for the next."""
    found = _minutes.get(stamp)
    if found is not None:
        return found
    if _MINUTE.fullmatch(stamp) is None:
        raise ValueError(stamp)
    if len(_minutes) >= _MINUTES_KEPT:
        _minutes.clear()
    found = datetime.fromisoformat(f"{stamp[:17]}00{stamp[17:]}").timestamp()
    _minutes[stamp] = found
    return found


_minutes: dict[str, float] = {}


def _moment(stamp: str) -> datetime | None:
    """The moment that an upper-case RFC 3339 time with an offset names, else None."""
    try:
        moment = datetime.fromisoformat(stamp)
    except ValueError:
        leap = _LEAP_SECOND.fullmatch(stamp)
        before = _moment(f"{leap[1]}:59{leap[2]}") if leap is not None else None
        return before + timedelta(seconds=1) if before is not None and before < _LAST else None
    return moment if moment.tzinfo is not None and "T" in stamp else None


def show_time(at: float, zone: tzinfo) -> str:
    """RFC 3339 in the site's zone, to the second, or to the millisecond where there is more."""
    moment = datetime.fromtimestamp(round(at, 3), zone)
    return moment.isoformat(timespec="milliseconds" if moment.microsecond else "seconds")


def parse_clock(text: object) -> float:
    """Seconds after midnight of "06:00"; "24:00" is the day's end. ValueError otherwise."""
    if isinstance(text, str):
        if text == "24:00":
            return DAY
        found = _CLOCK.fullmatch(text)
        if found is not None:
            return int(found[1]) * HOUR + int(found[2]) * MINUTE
    raise ValueError(f'{text!r} is not a time of day such as "06:00"')


def at_clock(day: date, seconds: float, zone: tzinfo, latest: float = inf) -> float:
    """The moment at which the wall clock first shows `seconds` after midnight on `day`, or more.

    Where it stepped and shows that twice: the last one up to `latest`.
    """
    return moment_of(_shown(day, seconds, plain_of(zone)), zone, latest)


def _shown(day: date, seconds: float, zone: tzinfo) -> float:
    """What the wall clock says, Unix seconds, when it first shows `seconds` after midnight."""
    wall = datetime.combine(day, time(), zone) + timedelta(seconds=seconds)
    at, other = wall.timestamp(), wall.replace(fold=1).timestamp()
    return at if at <= other else _put_forward(int(other), int(at), zone)


def _put_forward(before: int, after: int, zone: tzinfo) -> float:
    """The first second after `before`, `after` at the latest, by another offset from UTC."""
    old = datetime.fromtimestamp(before, zone).utcoffset()
    seconds = range(before, after)
    later = bisect_left(
        seconds, True, key=lambda at: datetime.fromtimestamp(at, zone).utcoffset() != old
    )
    return float(before + later)


def brewery_day(at: float, day_starts: float, zone: tzinfo) -> date:
    """The date whose brewery day holds `at`: before the turn it is still yesterday's."""
    today = datetime.fromtimestamp(at, zone).date()
    shown = _shown(today, day_starts, plain_of(zone))
    return today if wall_of(at, zone) >= shown else today - timedelta(days=1)


def day_turn(at: float, day_starts: float, zone: tzinfo) -> float:
    """The moment at which the brewery day that holds `at` began."""
    return at_clock(brewery_day(at, day_starts, zone), day_starts, zone, at)


def next_clock(at: float, seconds: float, zone: tzinfo) -> float:
    """The first moment after `at` that is `at_clock` of a day."""
    for start, end, clock_ahead in stretches_of(at, zone):
        today = datetime.fromtimestamp(start, zone).date()
        for days in range(3):
            day = today + timedelta(days=days)
            moment = _shown(day, seconds, plain_of(zone)) - clock_ahead
            if at < moment and start <= moment:
                break
        if moment < end:
            return moment
    raise AssertionError("the last stretch has no end")


def within_hours(at: float, start: float, end: float, zone: tzinfo) -> bool:
    """Whether `at` lies in the hours [start, end) of a day; such a span may cross midnight."""
    return start != end and begun(at, start, end, zone) is not None


def begun(at: float, start: float, end: float, zone: tzinfo) -> date | None:
    """The day on which the hours [start, end) began that cover `at`, None where none do.

    Hours that end when they start are a whole day.
    """
    day = brewery_day(at, start, zone)
    last = day if start < end else day + timedelta(days=1)
    return day if wall_of(at, zone) < _shown(last, end, plain_of(zone)) else None
