"""A table under its mapping: the rows below its headings, and how a cell of it is told of."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from datetime import datetime
from itertools import chain, islice
from math import isfinite
from pathlib import Path
from typing import NoReturn
from zoneinfo import ZoneInfo

from kuraban.core.intake.typed_figures import Either, figure, narrow
from kuraban.core.site import House
from kuraban.edges.table_reader import SPREADSHEET, Cell, Row, opened, refuse
from kuraban.imports.local_times import LocalTimes, read_clock, read_moment
from kuraban.imports.mapping import LOOKED_AT, Mapping, headed

GAPS = frozenset({"", "-", "--", "---", "----", "nan", "null", "none", "n/a", "#n/a", "欠測", "―"})
"""How loggers and people write that there is no value."""
_PLAIN = re.compile(r"-?\d+(?:\.\d+)?", re.ASCII)
"""Most cells, and there are millions."""


class Table:
    """One open file. `times` reads its local times; `gaps` counts cells without a value."""

    def __init__(self, path: Path, mapping: Mapping, house: House, rows: Iterator[Row]) -> None:
        self.path, self.mapping, self.house = path, mapping, house
        first = list(islice(rows, LOOKED_AT))
        found = headed(first, mapping)
        if found is None:
            right = "name its columns as they are, or another mapping with --mapping"
            missing = self._missing(first)
            refuse(path, "headings", f'there is no column "{missing}" in the first rows', right)
        index, self.heads = found
        for head in mapping.columns:
            if self.heads.count(head) > 1:
                right = "give each column a heading of its own"
                refuse(path, f"row {first[index][0]}", f'"{head}" stands there twice', right)
        self._rows = chain(first[index + 1 :], rows)
        self.at_row = 0
        """The row that was taken last."""
        time = mapping.column("time") or mapping.column("date")
        self._time, self._clock = (
            self.heads.index(head) if head else -1 for head in (time, mapping.column("clock"))
        )
        zone = ZoneInfo(mapping.timezone or house.site.timezone)
        self.times = LocalTimes(zone, self._backward(first[index + 1 :]))
        self.gaps: Counter[str] = Counter()

    def _missing(self, first: Sequence[Row]) -> str:
        """The first heading that is lacking in the row that has most of them."""
        heads = [*self.mapping.columns]
        lacks = [[head for head in heads if head not in map(str, cells)] for _, cells in first]
        return min(lacks, key=len, default=heads)[0]

    def _backward(self, rows: Sequence[Row]) -> bool:
        """Whether the newest comes first."""
        found = []
        for _, cells in rows if self._time >= 0 else ():
            with suppress(ValueError, IndexError):
                found.append(self.shown(cells).replace(tzinfo=None))
        return bool(found) and found[0] > found[-1]

    def shown(self, cells: Sequence[Cell]) -> datetime:
        """The time of a row as it stands there. ValueError where it is none."""
        if self._clock < 0:
            return self._read(cells[self._time])
        midnight = self._read(cells[self._time]).replace(hour=0, minute=0, second=0, microsecond=0)
        return midnight + read_clock(cells[self._clock])

    def _read(self, cell: Cell) -> datetime:
        return read_moment(cell, self.mapping.time_format, self.house.site.day_starts)

    def rows(self) -> Iterator[Row]:
        """Those that hold anything, each as wide as the headings."""
        wide, short = len(self.heads), 0
        needed = max(self.heads.index(head) for head in self.mapping.columns)
        for number, cells in self._rows:
            self.at_row = number
            if len(cells) == wide:
                short = 0
                yield number, cells
            elif any(str(cell).strip() for cell in cells[wide:]):
                right = 'name the separator in the mapping, separator = ";", or write 10.5'
                wrong = f"has {len(cells)} cells under {wide} headings"
                refuse(self.path, f"row {number}", wrong, right)
            elif cells:
                short = number if len(cells) <= needed else 0
                yield number, [*cells, *[""] * (wide - len(cells))][:wide]
        if short and self.path.suffix.lower() != SPREADSHEET:
            right = "export it again, or remove its last row"
            refuse(self.path, f"row {short}", "is the last and breaks off", right)

    def number(self, cell: Cell, head: str) -> float | None:
        """The figure in a cell, None where there is none. ValueError says what is wrong."""
        if isinstance(cell, float):
            return cell
        if not isinstance(cell, str):
            raise ValueError(f'"{cell}" is a time, no figure; set the column to plain numbers')
        if self.mapping.decimal != "," and _PLAIN.fullmatch(cell):
            return float(cell)
        text = narrow(cell)
        if text.casefold() in GAPS:
            self.gaps[head] += 1
            return None
        if self.mapping.decimal == ",":
            text = text.replace(".", "").replace(",", ".")
        elif self.mapping.decimal == ".":
            text = text.replace(",", "")
        try:
            value = figure(text)
        except Either as error:
            right = 'say in the mapping: decimal = ","'
            raise ValueError(f"{str(error).partition('; ')[0]}; {right}") from None
        if not isfinite(value):
            raise ValueError(f'"{cell}" is no number; write one such as 10.5')
        return value

    def refuse(self, number: int, head: str, wrong: str, right: str) -> NoReturn:
        refuse(self.path, f'row {number}, column "{head}"', wrong, right)

    def fault(self, number: int, head: str, error: ValueError) -> NoReturn:
        """What is right stands behind the first semicolon."""
        wrong, _, right = str(error).partition("; ")
        self.refuse(number, head, wrong, right or "put the cell right")

    def moment(
        self, number: int, cells: Sequence[Cell], column: str, latest: float, head: str = ""
    ) -> float:
        """Unix seconds of a row, or of one cell of it; its fault where there is no time, or one
        that cannot be. Of each `column` the times are in order."""
        try:
            shown = self._read(cells[self.heads.index(head)]) if head else self.shown(cells)
            at = self.times.moment(shown, column)
            if not 0.0 < at <= latest:
                when = "still to come" if at > 0.0 else "before 1970"
                raise ValueError(f"{shown} is {when}; look at its year")
        except ValueError as error:
            self.fault(number, head or self.heads[self._time], error)
        return at


@contextmanager
def table_at(
    path: Path, mapping: Mapping, house: House, passed: Callable[[int], None]
) -> Iterator[Table]:
    """The table in a file; `passed` hears how many rows there are. ConfigurationError as it is
    read."""
    with opened(path, mapping) as (rows, count):
        passed(count)
        yield Table(path, mapping, house, rows)
