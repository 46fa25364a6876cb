"""Calendar files (RFC 5545) that the house keeps anyway, written out as plain shifts.

Each event is one stretch of duty. Whose it is stands in the table, or in the event's title: the id
or the name of a person, alone or as a word in it. Recurrence, its exceptions and moved occurrences
are followed; a day-long event lasts from midnight to midnight by the brewery's clock. A cancelled
or transparent ("free") event is no duty.

A calendar comes from outside, so what it may cost is bounded before anything is written out: its
bytes, its events, and how often one may recur. A duty recurs by the day, week, month or year.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta, tzinfo
from pathlib import Path
from typing import Any

import recurring_ical_events
from icalendar import Calendar

from kuraban.core.site import Person, Shift
from kuraban.core.units import DAY
from kuraban.settings.files.tables import CalendarTable

AHEAD = 26 * 7 * DAY
"""How far recurring duties are written out: a season, should nobody restart the watch in it."""
MOST, MOST_SERIES = 4000, 400
"""Events of one file, and series among them, so that a calendar gone wild fills no memory."""
MOST_BYTES = 4_000_000
FIRST_YEAR, LAST_YEAR = 2000, 2099
DAILY_AT_MOST = frozenset({"DAILY", "WEEKLY", "MONTHLY", "YEARLY"})
WITHIN_A_DAY = ("BYSECOND", "BYMINUTE", "BYHOUR")
UNREADABLE = "is no calendar that can be read"


@dataclass(slots=True)
class Written:
    """What a calendar came to: shifts, and the titles that name nobody."""

    shifts: list[Shift] = field(default_factory=list)
    nobody: list[str] = field(default_factory=list)


def read_calendar(path: Path) -> Calendar:
    """The file's calendar; ValueError that says what is wrong with it, OSError where it is not."""
    if path.stat().st_size > MOST_BYTES:
        raise ValueError(f"is larger than {MOST_BYTES // 1_000_000} MB; export the rota alone")
    try:
        found = Calendar.from_ical(path.read_bytes())
    except (ValueError, KeyError, IndexError, AttributeError, TypeError) as wrong:
        raise ValueError(f"{UNREADABLE} ({_in_short(wrong)})") from None
    if not isinstance(found, Calendar):
        raise ValueError("holds no VCALENDAR")
    events = list(found.walk("VEVENT"))
    series = sum("RRULE" in event for event in events)
    if len(events) > MOST or series > MOST_SERIES:
        raise ValueError(
            f"has {len(events)} events with {series} series among them; "
            f"{MOST} and {MOST_SERIES} are read: export the rota alone"
        )
    for event in events:
        _check(event)
    return found


def _check(event: Any) -> None:
    """ValueError that names an event which cannot be written out."""
    title = str(event.get("SUMMARY", "")) or "(no title)"
    try:
        start = event["DTSTART"].dt
        end = event["DTEND"].dt if "DTEND" in event else start
        if isinstance(start, datetime) is not isinstance(end, datetime):
            raise ValueError("its start and end are a time and a day; give both alike")
        if not FIRST_YEAR <= start.year <= LAST_YEAR:
            raise ValueError(f"its start is not within {FIRST_YEAR} to {LAST_YEAR}")
        if "DURATION" in event and abs(event["DURATION"].dt) > timedelta(seconds=AHEAD):
            raise ValueError("it lasts longer than half a year")
        for rule in _rules(event):
            if {str(part) for part in rule.get("FREQ", ())} - DAILY_AT_MOST:
                raise ValueError("it recurs more than once a day")
            if any(part in rule for part in WITHIN_A_DAY):
                raise ValueError("it recurs within a day; write one event for each time")
            if isinstance(start, datetime) and "UNTIL" in rule:
                rule["UNTIL"] = [_whole_day(until, start.tzinfo) for until in rule["UNTIL"]]
        _occurrences(Calendar([], subcomponents=[event]), start, start)
    except KeyError:
        raise ValueError(f"{UNREADABLE}: the event '{title}' has no start") from None
    except Exception as wrong:  # whatever a library makes of what a stranger's program wrote
        raise ValueError(f"{UNREADABLE}: the event '{title}': {_in_short(wrong)}") from None


def _whole_day(until: date, zone: tzinfo | None) -> datetime:
    """The end of a series, as calendar programs mean it: a bare day is the whole of it."""
    if isinstance(until, datetime):
        return until
    return datetime.combine(until, time(23, 59, 59), zone)


def _rules(event: Any) -> list[Any]:
    rules = event.get("RRULE", [])
    return rules if isinstance(rules, list) else [rules]


def _in_short(wrong: Exception) -> str:
    return " ".join(str(wrong).split())[:120] or type(wrong).__name__


def write_out(
    calendar: Calendar, table: CalendarTable, people: tuple[Person, ...], zone: tzinfo, now: float
) -> Written:
    """The shifts from the week of `now` on, in the order of their times."""
    written = Written()
    first = _monday(now, zone)
    if table.person is None:
        titles = (str(event.get("SUMMARY", "")) for event in _duties(calendar.walk("VEVENT")))
        written.nobody = [t or "(no title)" for t in titles if _named(t, people) is None]
    for event in _duties(_occurrences(calendar, first, first + timedelta(seconds=AHEAD))):
        person = table.person or _named(str(event.get("SUMMARY", "")), people)
        start, end = (_local(event[key].dt, zone).timestamp() for key in ("DTSTART", "DTEND"))
        if person is not None and end > start:
            written.shifts.append(
                Shift(
                    role=table.role, person=person, order=table.order, start=start, end=end,
                    awake=table.awake,
                )
            )  # fmt: skip
    written.shifts.sort(key=lambda shift: (shift.start, shift.end, shift.person))
    del written.shifts[MOST:]
    return written


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


def _named(title: str, people: tuple[Person, ...]) -> str | None:
    """The person whom a title names, None where it names nobody or several."""
    spelled = title.strip().casefold()
    for person in people:
        if spelled in (person.id, person.name.casefold()):
            return person.id
    words = set(re.split(r"[\s,;:/()・、]+", spelled))
    found = [one.id for one in people if {one.id, one.name.casefold()} & words]
    return found[0] if len(found) == 1 else None


def _local(moment: date | datetime, zone: tzinfo) -> datetime:
    """A day begins at midnight; a time without a zone is the brewery's own."""
    if not isinstance(moment, datetime):
        return datetime.combine(moment, time(), zone)
    return moment if moment.tzinfo is not None else moment.replace(tzinfo=zone)
