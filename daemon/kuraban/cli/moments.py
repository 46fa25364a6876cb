"""Times as people type them: "22:10", "12h", "yesterday 18:00", "2026-02-11 06:00", or RFC 3339.

One reading for every command. A length of time alone is so long ago, but for what lies ahead.
"""

from __future__ import annotations

from datetime import datetime, timedelta, tzinfo

from kuraban.cli.common import wrong
from kuraban.core.intake.typed_figures import narrow, span
from kuraban.core.timescale import moment_of
from kuraban.core.units import DAY, next_clock, parse_clock, parse_time

AHEAD_ALLOWED = 300.0
DAYS = {"today": 0, "yesterday": 1, "今日": 0, "昨日": 1}
PAST = 'write "12h", "22:10", "yesterday", "2026-02-11 06:00" or "2026-02-11T06:00:00+09:00"'
COMING = 'write "06:00", "3h", "2026-02-11 06:00" or "2026-02-11T06:00:00+09:00"'
DATED = 'write "2026-02-11 06:00" by the brewery\'s clock, or "2026-02-11T06:00:00+09:00"'


def moment(
    text: str, key: str, zone: tzinfo, now: float | None = None, right: str | None = None
) -> float:
    """The watch's time of a typed one; `key` is the option it came from.

    With `now`, "20m" and "-20m" are so long ago, "+20m" is so far ahead, "22:10" the latest such
    time (a little ahead at most), "yesterday" its midnight. ConfigurationError says what would be
    right.
    """
    told = narrow(text)
    for read in (_spelled, _local, _day, _relative, _clock):
        found = read(told, zone, now)
        if found is not None:
            return found
    known = PAST if now is not None else DATED
    raise wrong("command line", key, f'"{text}" is no time', right or known)


def ahead(text: str, key: str, zone: tzinfo, now: float) -> float:
    """The same for what lies ahead: "06:00" is the next one, "3h" in three hours."""
    told = narrow(text)
    try:
        return next_clock(now, parse_clock(_two_digits(told)), zone)
    except ValueError:
        pass
    try:
        return now + span(told)
    except ValueError:
        return moment(text, key, zone, now, COMING)


def length(text: str, key: str) -> float:
    """Seconds of a typed length of time; ConfigurationError says what would be right."""
    try:
        return span(text)
    except ValueError as error:
        raise wrong("command line", key, *str(error).split("; ", 1)) from None


def _spelled(text: str, zone: tzinfo, now: float | None) -> float | None:
    try:
        seconds = len(text) > 8 and text.replace(".", "", 1).isdigit()
        return moment_of(parse_time(float(text) if seconds else text), zone)
    except ValueError:
        return None


def _local(text: str, zone: tzinfo, now: float | None) -> float | None:
    try:
        told = datetime.fromisoformat(text)
    except ValueError:
        return None
    wall = told.replace(tzinfo=zone) if told.tzinfo is None else told
    return moment_of(wall.timestamp(), zone)


def _day(text: str, zone: tzinfo, now: float | None) -> float | None:
    """A day by its name, and a time of it if one is given."""
    name, _, clock = text.lower().partition(" ")
    if now is None or name not in DAYS:
        return now if now is not None and text.lower() in ("now", "今") else None
    try:
        seconds = parse_clock(_two_digits(clock)) if clock else 0.0
    except ValueError:
        return None
    day = datetime.fromtimestamp(now, zone).replace(hour=0, minute=0, second=0, microsecond=0)
    wall = day - timedelta(days=DAYS[name]) + timedelta(seconds=seconds)
    return moment_of(wall.timestamp(), zone)


def _relative(text: str, zone: tzinfo, now: float | None) -> float | None:
    if now is None:
        return None
    try:
        seconds = span(text.removeprefix("-").removeprefix("+"))
    except ValueError:
        return None
    return now + seconds if text.startswith("+") else now - seconds


def _clock(text: str, zone: tzinfo, now: float | None) -> float | None:
    """The latest moment at which the wall clock showed it."""
    if now is None:
        return None
    try:
        seconds = parse_clock(_two_digits(text))
    except ValueError:
        return None
    day_before = next_clock(now - DAY + AHEAD_ALLOWED, seconds, zone)
    return day_before if day_before <= now + AHEAD_ALLOWED else day_before - DAY


def _two_digits(clock: str) -> str:
    """`6:05` as `06:05`."""
    return f"0{clock}" if clock[1:2] == ":" else clock
