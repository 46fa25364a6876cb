"""Calendars and absences of the site file: what must hold in them, and what they come to."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta, tzinfo
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from kuraban.core.site import Away, Person, Shift
from kuraban.core.units import DAY, MINUTE
from kuraban.errors import Fault
from kuraban.settings.checks.references import Found, Row, Wrong, rows
from kuraban.settings.files.calendar_child import AHEAD, MOST, Read, read_apart
from kuraban.settings.files.tables import AwayTable, CalendarTable, SiteFile
from kuraban.settings.files.values import listed, nearest, show

Calendars = Mapping[int, Read]
"""What each [[calendar]] came to, by its place among them."""


@dataclass(slots=True)
class Written:
    """What a calendar came to: shifts, and the titles that name nobody."""

    shifts: list[Shift] = field(default_factory=list)
    nobody: list[str] = field(default_factory=list)


def read_calendars(raw: Mapping[str, Any], folder: Path, now: float | None) -> Calendars:
    """Every calendar file that is named, each read once; without `now` no duty is written out."""
    site = raw.get("site")
    zone = _zone(site.get("timezone") if isinstance(site, dict) else None)
    return {
        row.index: read_apart(folder / row.text("file"), zone, now)
        for row in rows(raw, "calendar")
        if row.text("file")
    }


def _zone(name: object) -> ZoneInfo:
    """A zone that is none is a fault of its own."""
    try:
        return ZoneInfo(str(name))
    except (KeyError, ValueError, OSError):
        return ZoneInfo("Asia/Tokyo")


def manning(raw: Mapping[str, Any]) -> Found:
    """Every fault of [[calendar]] and [[away]] that is more than one of form."""
    people = [row.text("id") for row in rows(raw, "person") if row.text("id")]
    for row in rows(raw, "calendar"):
        yield from _person(row, people)
    for row in rows(raw, "away"):
        yield from _person(row, people)
        yield from _order(row)


def unread(raw: Mapping[str, Any], folder: Path, calendars: Calendars) -> Found:
    """The calendars that cannot be read: nobody is on duty by them."""
    for row in rows(raw, "calendar"):
        found, named = calendars.get(row.index, Read()), row.text("file")
        if found.missing:
            right = "name a file that can be read; relative paths start at the site file"
            yield _at(row, "file", f"{folder / named}: {found.missing}", right)
        elif found.wrong:
            right = "save it from the calendar program as iCalendar (.ics)"
            yield _at(row, "file", f"{folder / named} {found.wrong}", right)


def _at(row: Row, key: str, wrong: str, right: str) -> Wrong:
    return Wrong((row.table, row.index, key), f"{row.name}.{key}", wrong, right)


def _person(row: Row, people: list[str]) -> Found:
    named = row.text("person")
    if named and named not in people:
        right = nearest(named, people, f"known are {listed(people)}")
        yield _at(row, "person", f"there is no person {show(named)}", right)


def _order(row: Row) -> Found:
    start, end = str(row.values.get("from", "")), str(row.values.get("to", ""))
    try:
        early = _end(end, ZoneInfo("UTC")) <= _start(start, ZoneInfo("UTC"))
    except ValueError:
        return
    if early:
        yield _at(row, "to", f"{show(end)} comes before {show(start)}", "let to come after from")


def _start(text: str, zone: tzinfo) -> float:
    moment = datetime.fromisoformat(text)
    return (moment if moment.tzinfo is not None else moment.replace(tzinfo=zone)).timestamp()


def _end(text: str, zone: tzinfo) -> float:
    """The end of a day where only a day is written."""
    if len(text.strip()) > len("2026-12-31"):
        return _start(text, zone)
    return (datetime.fromisoformat(text) + timedelta(days=1)).replace(tzinfo=zone).timestamp()


def absences(table: SiteFile, zone: tzinfo) -> tuple[Away, ...]:
    return tuple(_away(row, zone) for row in table.away)


def _away(row: AwayTable, zone: tzinfo) -> Away:
    start, end = _start(row.from_, zone), _end(row.to, zone)
    return Away(person=row.person, start=start, end=end, arrive=row.minutes * MINUTE)


def shifts(table: SiteFile, people: tuple[Person, ...], calendars: Calendars) -> tuple[Shift, ...]:
    """What every calendar that could be read comes to."""
    written = (manned(calendars[n], row, people) for n, row in enumerate(table.calendar))
    return tuple(shift for one in written for shift in one.shifts)


def manned(read: Read, table: CalendarTable, people: tuple[Person, ...]) -> Written:
    """Each duty as its person's. Whose it is stands in the table, or in the event's title: the id
    or the name of a person, alone or as a word in it."""
    written = Written()
    if table.person is None:
        written.nobody = [title for title in read.titles if _named(title, people) is None]
    for duty in read.duties:
        person = table.person or _named(duty.title, people)
        if person is not None:
            written.shifts.append(
                Shift(
                    role=table.role, person=person, order=table.order, start=duty.start,
                    end=duty.end, awake=table.awake,
                )
            )  # fmt: skip
    written.shifts.sort(key=lambda shift: (shift.start, shift.end, shift.person))
    del written.shifts[MOST:]
    return written


def _named(title: str, people: tuple[Person, ...]) -> str | None:
    """The person whom a title names, None where it names nobody or several."""
    spelled = title.strip().casefold()
    for person in people:
        if spelled in (person.id, person.name.casefold()):
            return person.id
    words = set(re.split(r"[\s,;:/()・、]+", spelled))
    found = [one.id for one in people if {one.id, one.name.casefold()} & words]
    return found[0] if len(found) == 1 else None


def words_on(
    table: SiteFile, people: tuple[Person, ...], calendars: Calendars, where: str, now: float
) -> Iterator[Fault]:
    """What will be missed of a calendar: events that name nobody, or none ahead at all."""
    for index, row in enumerate(table.calendar):
        key = f"calendar[#{index + 1}].file"
        written = manned(calendars[index], row, people)
        titles = list(dict.fromkeys(written.nobody))
        if titles:
            wrong = f"{len(titles)} events name nobody, such as {show(titles[0])}"
            right = "write a person's id or name in the title, or person = in the table"
            yield Fault(where, key, wrong, right)
        if not any(shift.end > now for shift in written.shifts):
            wrong = f"has no duty in the next {AHEAD / DAY:.0f} days"
            yield Fault(where, key, wrong, "export it again, or take the table out")
        if len(written.shifts) == MOST:
            wrong = f"has more than {MOST} duties; the later ones are left out"
            yield Fault(where, key, wrong, "export the duties alone")
