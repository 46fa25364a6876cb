"""Calendars and absences of the site file: what must hold in them, and what they come to."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import datetime, timedelta, tzinfo
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from kuraban.core.site import Away, Person, Shift
from kuraban.core.units import DAY, MINUTE
from kuraban.errors import Fault
from kuraban.settings.checks.references import Found, Row, Wrong, rows
from kuraban.settings.files.calendars import AHEAD, MOST, read_calendar, write_out
from kuraban.settings.files.tables import AwayTable, SiteFile
from kuraban.settings.files.values import listed, nearest, show


def manning(raw: Mapping[str, Any], folder: Path) -> Found:
    """Every fault of [[calendar]] and [[away]] that is more than one of form."""
    people = [row.text("id") for row in rows(raw, "person") if row.text("id")]
    for row in rows(raw, "calendar"):
        yield from _person(row, people)
        yield from _file(row, folder)
    for row in rows(raw, "away"):
        yield from _person(row, people)
        yield from _order(row)


def _at(row: Row, key: str, wrong: str, right: str) -> Wrong:
    return Wrong((row.table, row.index, key), f"{row.name}.{key}", wrong, right)


def _person(row: Row, people: list[str]) -> Found:
    named = row.text("person")
    if named and named not in people:
        right = nearest(named, people, f"known are {listed(people)}")
        yield _at(row, "person", f"there is no person {show(named)}", right)


def _file(row: Row, folder: Path) -> Found:
    named = row.text("file")
    if not named:
        return
    try:
        read_calendar(folder / named)
    except OSError as refused:
        right = "name a file that can be read; relative paths start at the site file"
        yield _at(row, "file", f"{folder / named}: {refused.strerror}", right)
    except ValueError as refused:
        right = "save it from the calendar program as iCalendar (.ics)"
        yield _at(row, "file", f"{folder / named} {refused}", right)


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


def shifts(
    table: SiteFile, people: tuple[Person, ...], folder: Path, now: float | None
) -> tuple[Shift, ...]:
    """What every calendar comes to from the week of `now` on; without `now`, nothing."""
    if now is None:
        return ()
    zone, found = ZoneInfo(table.site.timezone), list[Shift]()
    for row in table.calendar:
        found += write_out(read_calendar(folder / row.file), row, people, zone, now).shifts
    return tuple(found)


def words_on(
    table: SiteFile, people: tuple[Person, ...], folder: Path, where: str, now: float | None
) -> Iterator[Fault]:
    """What will be missed of a calendar: events that name nobody, or none ahead at all."""
    if now is None:
        return
    zone = ZoneInfo(table.site.timezone)
    for index, row in enumerate(table.calendar):
        key = f"calendar[#{index + 1}].file"
        written = write_out(read_calendar(folder / row.file), row, people, zone, now)
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
