"""The times of a table as Unix seconds: local ones without an offset, whatever the clocks did.

Where clocks went back an hour is there twice: the rows of a column that come to it a second time
are read as the second. Where they went forward an hour is missing: a logger that knew nothing of it
is read as if its clock had not been put forward. Both are counted, to be said.
"""

from __future__ import annotations

import re
from collections import Counter
from contextlib import suppress
from datetime import date, datetime, time, timedelta, tzinfo

from kuraban.core.intake.typed_figures import narrow
from kuraban.edges.table_reader import Cell

EXCEL_EPOCH = datetime(1899, 12, 30)
"""Day 0 of a spreadsheet's numbers, right from March 1900 on; ECMA-376 part 1, 18.17.4.1."""
SERIALS = (32874.0, 73051.0)
"""Its numbers from 1990 to 2099."""
UNIX = (6.3e8, 4.1e9)
_HOURS = r"(\d{1,2})[:時](\d{1,2})分?(?::?(\d{1,2}(?:\.\d+)?)秒?)?"
_CLOCK = re.compile(_HOURS, re.ASCII)
_WRITTEN = re.compile(
    rf"(\d{{4}})[-/.年](\d{{1,2}})[-/.月](\d{{1,2}})日?(?:[T,\s]*{_HOURS})?", re.ASCII
)
_DOTTED = re.compile(r"^(\d{1,2})\.(\d{1,2})\.(\d{4})(?!\d)", re.ASCII)
RIGHT = 'write it as 2024-02-01 03:10, or name its form: time_format = "%d/%m/%Y %H:%M"'


def read_moment(told: Cell, form: str | None, day_starts: float) -> datetime:
    """The time in a cell, with its offset where it has one; a day alone is the turn of its brewery
    day. ValueError says what is wrong."""
    if isinstance(told, datetime):
        return told
    if isinstance(told, float):
        return _number(told)
    if isinstance(told, time):
        raise ValueError(f"{told} is no day; {RIGHT}")
    if form is not None:
        try:
            found = datetime.strptime(narrow(told), form)
        except ValueError:
            raise ValueError(f'"{told}" is not written as {form}') from None
        has_hour = any(mark in form for mark in ("%H", "%I", "%X", "%c", "%T"))
        return found if has_hour else found + timedelta(seconds=day_starts)
    with suppress(ValueError):
        if len(told) > 10:
            return datetime.fromisoformat(told)
    return _written(told, day_starts)


def _written(told: str, day_starts: float) -> datetime:
    text = _DOTTED.sub(r"\3-\2-\1", narrow(told))
    try:
        found = _WRITTEN.fullmatch(text)
        if found is None:
            return datetime.fromisoformat(text) if "T" in text else _number(float(text))
        day = datetime(int(found[1]), int(found[2]), int(found[3]))
    except ValueError:
        raise ValueError(f'"{told}" is no time; {RIGHT}') from None
    if found[4] is None:
        return day + timedelta(seconds=day_starts)
    return day + _since_midnight(told, *found.groups()[3:])


def _number(told: float) -> datetime:
    """A spreadsheet's day, or Unix seconds; those have no zone to be read in."""
    if SERIALS[0] <= told < SERIALS[1]:
        return EXCEL_EPOCH + timedelta(seconds=round(told * 86400, 3))
    if UNIX[0] <= told < UNIX[1]:
        return datetime.fromisoformat("1970-01-01T00:00:00+00:00") + timedelta(seconds=told)
    raise ValueError(f"{told:g} is no time; {RIGHT}")


def read_clock(told: Cell) -> timedelta:
    """The time of day in a cell of its own."""
    if isinstance(told, float) and 0 <= told <= 1:
        return timedelta(days=told)
    text = told.isoformat() if isinstance(told, (datetime, time)) else narrow(str(told))
    found = _CLOCK.fullmatch(text.rpartition("T")[2])
    if found is None:
        raise ValueError(f'"{told}" is no time of day; write it as 03:10')
    return _since_midnight(str(told), *found.groups())


def _since_midnight(told: str, hours: str, minutes: str, seconds: str | None) -> timedelta:
    """24:00 is the day's end, as loggers write it."""
    shown = int(hours), int(minutes), float(seconds or 0)
    if shown[0] > 24 or shown[1] > 59 or shown[2] >= 61 or shown > (24, 0, 0.0):
        raise ValueError(f'"{told}" is no time of day; there are 00:00 to 24:00')
    return timedelta(hours=shown[0], minutes=shown[1], seconds=shown[2])


class LocalTimes:
    """Turns what a clock of the zone showed into moments, column by column in the file's order;
    `backward` where that goes from the newest to the oldest."""

    def __init__(self, zone: tzinfo, backward: bool = False) -> None:
        self._zone, self._backward = zone, backward
        self._last: dict[str, tuple[datetime | None, int]] = {}
        self.first: Counter[date] = Counter()
        """Times of a doubled hour that were read as its first, by day."""
        self.second: Counter[date] = Counter()
        self.missing: Counter[date] = Counter()

    def moment(self, told: datetime, column: str) -> float:
        """Unix seconds."""
        if told.tzinfo is not None:
            return told.timestamp()
        first = told.replace(tzinfo=self._zone).timestamp()
        second = told.replace(tzinfo=self._zone, fold=1).timestamp()
        if first == second:
            return first
        if first > second:
            self.missing[told.date()] += 1
            return first
        again = self._comes_again(told, column)
        (self.second if again else self.first)[told.date()] += 1
        return second if again else first

    def _comes_again(self, told: datetime, column: str) -> int:
        """Which of the two it is: the other one from where the column does not go on."""
        usual = int(self._backward)
        last, fold = self._last.get(column, (None, usual))
        if last is None or abs(told - last) > timedelta(hours=2):
            fold = usual
        elif (told >= last) if self._backward else (told <= last):
            fold = 1 - usual
        self._last[column] = (told, fold)
        return fold
