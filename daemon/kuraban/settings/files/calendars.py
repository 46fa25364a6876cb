"""Calendar files (RFC 5545) that the house keeps anyway, written out as plain shifts.

Each event is one stretch of duty. Whose it is stands in the table, or in the event's title: the id
or the name of a person, alone or as a word in it. Recurrence, its exceptions and moved occurrences
are followed; a day-long event lasts from midnight to midnight by the brewery's clock. A cancelled
or transparent ("free") event is no duty.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta, tzinfo
from pathlib import Path
from typing import Any

from dateutil.rrule import rrulestr
from icalendar import Calendar

from kuraban.core.site import Person, Shift
from kuraban.core.units import DAY
from kuraban.settings.files.tables import CalendarTable

AHEAD = 26 * 7 * DAY
"""How far recurring duties are written out: a season, should nobody restart the watch in it."""
MOST = 4000
"""Events of one file at most, so that a calendar gone wild fills no memory."""


@dataclass(slots=True)
class Written:
    """What a calendar came to: shifts, and the titles that name nobody."""

    shifts: list[Shift] = field(default_factory=list)
    nobody: list[str] = field(default_factory=list)


def read_calendar(path: Path) -> Calendar:
    """The file's calendar; ValueError that says what is wrong with it, OSError where it is not."""
    try:
        found = Calendar.from_ical(path.read_bytes())
        for event in _walked(found):
            _start(event)
    except (ValueError, KeyError, IndexError, AttributeError, TypeError) as wrong:
        raise ValueError(f"is no calendar that can be read ({_in_short(wrong)})") from None
    if not isinstance(found, Calendar):
        raise ValueError("holds no VCALENDAR")
    return found


def _in_short(wrong: Exception) -> str:
    return " ".join(str(wrong).split())[:120] or type(wrong).__name__


def write_out(
    calendar: Calendar, table: CalendarTable, people: tuple[Person, ...], zone: tzinfo, now: float
) -> Written:
    """The shifts from the week of `now` on, in the order of their times."""
    written = Written()
    first = _monday(now, zone)
    for event in _events(calendar):
        person = table.person or _named(str(event.get("SUMMARY", "")), people)
        if person is None:
            written.nobody.append(str(event.get("SUMMARY", "")) or "(no title)")
            continue
        for start, end in _occurrences(event, calendar, zone, first, first + AHEAD):
            written.shifts.append(
                Shift(
                    role=table.role, person=person, order=table.order, start=start, end=end,
                    awake=table.awake,
                )
            )  # fmt: skip
    written.shifts.sort(key=lambda shift: (shift.start, shift.end, shift.person))
    del written.shifts[MOST:]
    return written


def _monday(now: float, zone: tzinfo) -> float:
    """The turn of the week, so that two starts within one week read the same house."""
    day = datetime.fromtimestamp(now, zone).date()
    day -= timedelta(days=day.weekday())
    return datetime.combine(day, time(), zone).timestamp()


def _walked(calendar: Calendar) -> list[Any]:
    return list(calendar.walk("VEVENT"))[:MOST]


def _events(calendar: Calendar) -> Iterator[Any]:
    for event in _walked(calendar):
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


def _start(event: Any) -> date | datetime:
    start = event.get("DTSTART")
    if start is None:
        raise ValueError(f"the event '{event.get('SUMMARY', '')}' has no start")
    moment: date | datetime = start.dt
    return moment


def _length(event: Any) -> timedelta:
    start = _start(event)
    if "DTEND" in event:
        length: timedelta = event["DTEND"].dt - start
    elif "DURATION" in event:
        length = event["DURATION"].dt
    else:
        length = timedelta(days=0 if isinstance(start, datetime) else 1)
    return length


def _occurrences(
    event: Any, calendar: Calendar, zone: tzinfo, first: float, last: float
) -> Iterator[tuple[float, float]]:
    """(start, end) of each time that the event takes place within [first, last)."""
    length, moved = _length(event), _moved(event, calendar, zone)
    for start in _starts(event, zone, last):
        begin = start.timestamp()
        if begin in moved:
            continue
        end = (start.replace(tzinfo=None) + length).replace(tzinfo=start.tzinfo).timestamp()
        if end > begin and end > first and begin < last:
            yield begin, end


def _moved(event: Any, calendar: Calendar, zone: tzinfo) -> set[float]:
    """Starts of occurrences that an event of their own stands for (RECURRENCE-ID)."""
    if "RECURRENCE-ID" in event:
        return set()
    uid = str(event.get("UID", ""))
    return {
        _local(other["RECURRENCE-ID"].dt, zone).timestamp()
        for other in _walked(calendar)
        if "RECURRENCE-ID" in other and uid and str(other.get("UID", "")) == uid
    }


def _starts(event: Any, zone: tzinfo, last: float) -> Iterator[datetime]:
    start = _local(_start(event), zone)
    left_out = {_local(moment, zone) for moment in _dates(event, "EXDATE")}
    further = {_local(moment, zone) for moment in _dates(event, "RDATE")}
    ruled = _ruled(event, start, last) if "RRULE" in event else iter((start,))
    for found in ruled:
        further.discard(found)
        if found not in left_out:
            yield found
    yield from sorted(further - left_out)


def _ruled(event: Any, start: datetime, last: float) -> Iterator[datetime]:
    """By the rule, in wall-clock time, so that a night begins at the same hour all year."""
    rules = event["RRULE"] if isinstance(event["RRULE"], list) else [event["RRULE"]]
    for rule in rules:
        text = re.sub(r"(UNTIL=)(\d{8}(?:T\d{6})?)(Z?)", _until_of(start), rule.to_ical().decode())
        for number, found in enumerate(rrulestr(text, dtstart=start.replace(tzinfo=None))):
            here = found.replace(tzinfo=start.tzinfo)
            if here.timestamp() >= last or number > 20 * MOST:
                break
            yield here


def _until_of(start: datetime) -> Any:
    """UNTIL in wall-clock time; a bare date holds its whole day."""

    def local(found: re.Match[str]) -> str:
        stamp, utc = found[2], found[3]
        if "T" not in stamp:
            return f"{found[1]}{stamp}T235959"
        moment = datetime.strptime(stamp, "%Y%m%dT%H%M%S")
        if utc:
            moment = moment.replace(tzinfo=_UTC).astimezone(start.tzinfo)
        return f"{found[1]}{moment:%Y%m%dT%H%M%S}"

    return local


_UTC = datetime.fromisoformat("2020-01-01T00:00:00+00:00").tzinfo


def _dates(event: Any, key: str) -> Iterator[date | datetime]:
    held = event.get(key)
    for part in held if isinstance(held, list) else [] if held is None else [held]:
        for one in part.dts:
            yield one.dt[0] if isinstance(one.dt, tuple) else one.dt


def _local(moment: date | datetime, zone: tzinfo) -> datetime:
    """A day begins at midnight; a time without a zone is the brewery's own."""
    if not isinstance(moment, datetime):
        return datetime.combine(moment, time(), zone)
    return moment if moment.tzinfo is not None else moment.replace(tzinfo=zone)
