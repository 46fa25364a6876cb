"""Calendar files (RFC 5545) that the house keeps anyway, written out as plain stretches of duty.

Recurrence, its exceptions and moved occurrences are followed; a day-long event lasts from midnight
to midnight by the brewery's clock. A cancelled or transparent ("free") event is no duty.

A calendar comes from outside, so what it may cost is bounded before anything is written out: its
bytes, lines and events, and how often one may recur. A duty recurs by the day, week, month or year.
What no count can foresee (a rule that never comes true is looked for until the year 9999) is
bounded by who reads: this file is a program of its own, which `calendar_child` starts and ends.

python -m kuraban.settings.files.calendars FILE ZONE [NOW]

writes `Read` as JSON; each event's title goes to standard error as it is begun.
"""

from __future__ import annotations

import re
import sys
from collections.abc import Iterator
from contextlib import suppress
from datetime import date, datetime, time, timedelta, tzinfo
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import msgspec
import recurring_ical_events
from icalendar import Calendar

from kuraban.settings.files.calendar_child import AHEAD, MOST, Event, Read

MOST_SERIES = 400
"""Series among the events of one file, so that a calendar gone wild fills no memory."""
MOST_BYTES, MOST_LINES = 4_000_000, 50_000
FIRST_YEAR, LAST_YEAR = 2000, 2099
DAILY_AT_MOST = frozenset({"DAILY", "WEEKLY", "MONTHLY", "YEARLY"})
WITHIN_A_DAY = ("BYSECOND", "BYMINUTE", "BYHOUR")
UNREADABLE = "is no calendar that can be read"
ONCE = ("UID", "DTSTART", "DTEND", "DURATION", "RECURRENCE-ID")
WRITTEN = {
    "RRULE": "RRULE:FREQ=WEEKLY;BYDAY=MO",
    "DURATION": "DURATION:PT12H",
}
"""How what is misspelled is written right; anything else is a time."""
MEMORY = 500_000_000
"""Bytes that this program may ask for, where the system counts them."""
A_TIME = "20260205T180000, or a day as 20260205"
BEGINS = re.compile(rb"^BEGIN:VEVENT\b", re.IGNORECASE | re.MULTILINE)


def read_calendar(path: Path) -> Calendar:
    """The file's calendar; ValueError that says what is wrong with it, OSError where it is not."""
    if path.stat().st_size > MOST_BYTES:
        raise ValueError(f"is larger than {MOST_BYTES // 1_000_000} MB; export the rota alone")
    text = path.read_bytes()
    if (count := len(BEGINS.findall(text))) > MOST:
        raise ValueError(f"has {count} events; {MOST} are read: export the rota alone")
    if (count := text.count(b"\n")) > MOST_LINES:
        raise ValueError(f"has {count} lines; {MOST_LINES} are read: export the rota alone")
    try:
        found = Calendar.from_ical(text)
    except RecursionError:
        raise ValueError(f"{UNREADABLE}: its parts lie one in another without end") from None
    except (ValueError, KeyError, IndexError, AttributeError, TypeError) as wrong:
        raise ValueError(f"{UNREADABLE} ({_in_short(wrong)})") from None
    if not isinstance(found, Calendar):
        raise ValueError("holds no VCALENDAR")
    events = list(found.walk("VEVENT"))
    series = sum("RRULE" in event for event in events)
    if series > MOST_SERIES:
        raise ValueError(f"has {series} series; {MOST_SERIES} are read: export the rota alone")
    for event in events:
        _check(event)
    return found


def _check(event: Any) -> None:
    """ValueError that names an event which cannot be written out."""
    title = _title(event)
    print(title, file=sys.stderr, flush=True)
    try:
        _check_spelling(event)
        start = event["DTSTART"].dt
        end = event["DTEND"].dt if "DTEND" in event else start
        if not isinstance(start, date):
            raise ValueError(f"its start is no time; write DTSTART:{A_TIME}")
        if isinstance(start, datetime) is not isinstance(end, datetime):
            raise ValueError("its start and end are a time and a day; give both alike")
        if not FIRST_YEAR <= start.year <= LAST_YEAR:
            raise ValueError(f"its start is not within {FIRST_YEAR} to {LAST_YEAR}")
        if "DURATION" in event and abs(event["DURATION"].dt) > timedelta(seconds=AHEAD):
            raise ValueError("it lasts longer than half a year")
        for rule in _rules(event):
            _check_rule(rule, start)
        _occurrences(Calendar([], subcomponents=[event]), start, start)
    except KeyError:
        raise ValueError(f"{UNREADABLE}: the event '{title}' has no start") from None
    except Exception as wrong:  # whatever a library makes of what a stranger's program wrote
        raise ValueError(f"{UNREADABLE}: the event '{title}': {_in_short(wrong)}") from None


def _check_spelling(event: Any) -> None:
    for key, value in event.items():
        if isinstance(value, list) and key in ONCE:
            raise ValueError(f"it has {len(value)} {key}; give one")
        if type(value).__name__ == "vBroken":
            right = WRITTEN.get(key, f"{key}:{A_TIME}")
            raise ValueError(f"{key} cannot be read: '{str(value)[:60]}'; write {right}")


def _check_rule(rule: Any, start: date) -> None:
    if {str(part) for part in rule.get("FREQ", ())} - DAILY_AT_MOST:
        raise ValueError("it recurs more than once a day; write a series for each time of day")
    if any(part in rule for part in WITHIN_A_DAY):
        raise ValueError("it recurs within a day; write one event for each time")
    if any(every < 1 for every in rule.get("INTERVAL", ())):
        raise ValueError("it recurs every 0 times (INTERVAL); write INTERVAL=1 or more")
    if isinstance(start, datetime) and "UNTIL" in rule:
        rule["UNTIL"] = [_whole_day(until, start.tzinfo) for until in rule["UNTIL"]]


def _whole_day(until: date, zone: tzinfo | None) -> datetime:
    """The end of a series, as calendar programs mean it: a bare day is the whole of it."""
    if isinstance(until, datetime):
        return until
    return datetime.combine(until, time(23, 59, 59), zone)


def _rules(event: Any) -> list[Any]:
    rules = event.get("RRULE", [])
    return rules if isinstance(rules, list) else [rules]


def _title(event: Any) -> str:
    """Of two titles the first."""
    told = event.get("SUMMARY", "")
    return " ".join(str(told[0] if isinstance(told, list) else told).split())[:80] or "(no title)"


def _in_short(wrong: Exception) -> str:
    return " ".join(str(wrong).split())[:200] or type(wrong).__name__


def write_out(calendar: Calendar, zone: tzinfo, now: float) -> tuple[Event, ...]:
    """The duties from the week of `now` on, in the order of their times. ValueError where they
    cannot be written out."""
    first = _monday(now, zone)
    try:
        duties = _duties(_occurrences(calendar, first, first + timedelta(seconds=AHEAD)))
        found = [
            Event(
                _title(event),
                *(_local(event[key].dt, zone).timestamp() for key in ("DTSTART", "DTEND")),
            )
            for event in duties
        ]
    except Exception as wrong:  # as above
        raise ValueError(
            f"{UNREADABLE}: its series do not fit together ({_in_short(wrong)})"
        ) from None
    found.sort(key=lambda duty: (duty.start, duty.end, duty.title))
    return tuple(duty for duty in found if duty.end > duty.start)


def titles(calendar: Calendar) -> tuple[str, ...]:
    """Of everything in it that is a duty, at any time."""
    return tuple(_title(event) for event in _duties(calendar.walk("VEVENT")))


def _occurrences(calendar: Calendar, first: date, last: date) -> list[Any]:
    """The events that take place within [first, last), each with its own start and end."""
    found: list[Any] = recurring_ical_events.of(calendar).between(first, last)
    return found


def _monday(now: float, zone: tzinfo) -> datetime:
    """The turn of the week, so that two starts within one week read the same house."""
    day = datetime.fromtimestamp(now, zone).date()
    return datetime.combine(day - timedelta(days=day.weekday()), time(), zone)


def _duties(events: Any) -> Iterator[Any]:
    for event in events:
        cancelled = str(event.get("STATUS", "")).upper() == "CANCELLED"
        free = str(event.get("TRANSP", "")).upper() == "TRANSPARENT"
        if not (cancelled or free):
            yield event


def _local(moment: date | datetime, zone: tzinfo) -> datetime:
    """A day begins at midnight; a time without a zone is the brewery's own."""
    if not isinstance(moment, datetime):
        return datetime.combine(moment, time(), zone)
    return moment if moment.tzinfo is not None else moment.replace(tzinfo=zone)


def read(path: Path, zone: tzinfo, now: float | None) -> Read:
    """What a calendar file comes to, or what is wrong with it."""
    try:
        calendar = read_calendar(path)
        return Read(titles(calendar), () if now is None else write_out(calendar, zone, now))
    except OSError as refused:
        return Read(missing=refused.strerror or str(refused))
    except ValueError as refused:
        return Read(wrong=str(refused))


def _bound() -> None:
    with suppress(ImportError, OSError, ValueError):
        import resource

        resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))


if __name__ == "__main__":
    _bound()
    named, place, *moment = sys.argv[1:]
    told = read(Path(named), ZoneInfo(place), float(moment[0]) if moment else None)
    sys.stdout.buffer.write(msgspec.json.encode(told))
