"""Times as people type them: "22:10", "-20m", "2026-02-11 06:00", or RFC 3339."""

from __future__ import annotations

from datetime import datetime, tzinfo

from kuraban.cli.common import wrong
from kuraban.core.timescale import moment_of
from kuraban.core.units import DAY, next_clock, parse_clock, parse_duration, parse_time

AHEAD_ALLOWED = 300.0


def moment(text: str, key: str, zone: tzinfo, now: float | None = None) -> float:
    """The watch's time of a typed one; `key` is the option it came from.

    With `now`, "-20m" is so long ago, "+20m" or "20m" so far ahead, and "22:10" the latest such
    time (a little ahead at most). ConfigurationError says what would be right.
    """
    for read in (_spelled, _local, _relative, _clock):
        found = read(text.strip(), zone, now)
        if found is not None:
            return found
    right = 'write "2026-02-11 06:00" by the brewery\'s clock, or "2026-02-11T06:00:00+09:00"'
    if now is not None:
        right = 'write "22:10", "-20m", "2026-02-11 06:00" or "2026-02-11T06:00:00+09:00"'
    raise wrong("command line", key, f'"{text}" is no time', right)


def ahead(text: str, key: str, zone: tzinfo, now: float) -> float:
    """The same for what lies ahead: "06:00" is the next one, "3h" in three hours."""
    try:
        return next_clock(now, parse_clock(text.strip()), zone)
    except ValueError:
        pass
    try:
        return now + parse_duration(text.strip())
    except ValueError:
        return moment(text, key, zone, now)


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


def _relative(text: str, zone: tzinfo, now: float | None) -> float | None:
    if now is None or text[:1] not in ("-", "+"):
        return None
    try:
        length = parse_duration(text[1:])
    except ValueError:
        return None
    return now - length if text[0] == "-" else now + length


def _clock(text: str, zone: tzinfo, now: float | None) -> float | None:
    """The latest moment at which the wall clock showed it."""
    if now is None:
        return None
    try:
        seconds = parse_clock(text)
    except ValueError:
        return None
    day_before = next_clock(now - DAY + AHEAD_ALLOWED, seconds, zone)
    return day_before if day_before <= now + AHEAD_ALLOWED else day_before - DAY
