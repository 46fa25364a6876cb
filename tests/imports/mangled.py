"""Forty tables that cannot be what they say, as loggers, spreadsheets and people leave them.

    python -m tests.imports.mangled

writes the table of README.md anew: each file, and the refusal that it met.
"""

from __future__ import annotations

import io
import sys
import tempfile
import zipfile
from collections.abc import Iterator
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import NamedTuple

import openpyxl

from kuraban.core.units import parse_time
from kuraban.errors import ConfigurationError
from kuraban.imports.importing import Import
from kuraban.imports.mapping import Mapping
from tests.journals import house as brewery

NOW = parse_time("2026-11-01T00:00:00+09:00")
house = cache(brewery)
README = Path(__file__).with_name("README.md")
WIDE = Mapping(kind="readings", columns={"time": "time", "Tank 3": "tank-3", "Tank 5": "tank-5"})
LONG = Mapping(kind="readings", columns={"time": "time", "tank": "subject", "temp": "value"})
BATCHES = Mapping(
    kind="batches", course="moromi-slow-33",
    columns={"No": "batch", "tank": "place", "soe": "stage:soe", "tome": "stage:tome",
             "pressed": "end", "rice": "rice_kg"},
)  # fmt: skip
SAMPLES = Mapping(
    kind="samples", columns={"day": "date", "No": "batch", "Be": "baume", "alc": "alcohol"}
)
HEADS = "time,Tank 3,Tank 5\n"
GOOD = "2025-01-20 10:00,10.5,10.7\n"
OF_BATCHES = "No,tank,soe,tome,pressed,rice\n"
BATCH = "8,tank-3,2025-01-10,2025-01-13,2025-02-05,600\n"


class Mangled(NamedTuple):
    """`where` and `right` are in its refusal: the place, and what would be right."""

    name: str
    what: str
    content: bytes
    mapping: Mapping
    where: str
    right: str


def sheet(*rows: tuple[object, ...]) -> bytes:
    book = openpyxl.Workbook()
    page = book.active
    assert page is not None
    for row in rows:
        page.append(row)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _broken_sheet() -> bytes:
    """A spreadsheet whose first sheet breaks off in the middle."""
    whole = zipfile.ZipFile(
        io.BytesIO(sheet(("time", "Tank 3", "Tank 5"), *[("2025-01-20 10:00", 1, 2)] * 500))
    )
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as broken:
        for name in whole.namelist():
            data = whole.read(name)
            broken.writestr(name, data[:9000] if "sheet1" in name else data)
    return out.getvalue()


def files() -> Iterator[Mangled]:
    def wide(name: str, what: str, text: str, where: str, right: str, **how: object) -> Mangled:
        mapping = Mapping(**{**_plain(WIDE), **how})
        return Mangled(name, what, text.encode(), mapping, where, right)

    def rows(name: str, what: str, text: str, where: str, right: str, **how: object) -> Mangled:
        return wide(name, what, HEADS + GOOD + text, where, right, **how)

    three, five = 'row 3, column "Tank 3"', 'row 3, column "Tank 5"'
    time = 'row 3, column "time"'
    # The file itself.
    yield wide("empty.csv", "nothing in it", "", "the file", "row of headings")
    yield wide("old.xls", "a spreadsheet of before 2007", "", "the file", ".xlsx")._replace(
        content=b"\xd0\xcf\x11\xe0" + bytes(600)
    )
    yield wide("packed.csv", "an archive named as a table", "", "the file", "unpack")._replace(
        content=b"PK\x03\x04" + bytes(60)
    )
    yield wide("no-book.xlsx", "text named as a spreadsheet", HEADS, "the file", "save it anew")
    yield wide("broken.xlsx", "a spreadsheet cut off", "", "row ", "save it anew")._replace(
        content=_broken_sheet()
    )
    yield wide("machine.csv", "a logger's own format", "", "line 1", "as text")._replace(
        content=b"LOG1\x00\x00\x01\x02" * 40
    )
    yield wide("latin.csv", "cp1252, which is neither of both", "", "line 3", "cp1252")._replace(
        content=(HEADS + GOOD).encode() + b"2025-01-20 10:01,10.5,\xff\xfc\n"
    )
    yield wide("utf-8.csv", "not in the encoding that its mapping names", HEADS + "タ,1,2\n",
               "line 2", "name its encoding", encoding="ascii")  # fmt: skip
    yield wide("klingon.csv", "an encoding that is none", HEADS, "encoding", "cp932",
               encoding="no-such")  # fmt: skip
    yield wide("sheet.xlsx", "another sheet than it has", "", "sheet", "there are Sheet",
               sheet="2024")._replace(content=sheet(("time", "Tank 3", "Tank 5")))  # fmt: skip
    # Headings and rows.
    yield wide("heads.csv", "a column renamed", "time,Tank 3,Tank V\n" + GOOD, "headings",
               "another mapping")  # fmt: skip
    yield wide("headless.csv", "no headings at all", GOOD, "headings", "name its columns")
    yield wide("twice.csv", "a heading twice", "time,Tank 3,Tank 5,Tank 3\n", "row 1",
               "heading of its own")  # fmt: skip
    yield rows("commas.csv", "decimal commas between commas", "2025-01-20 10:01,10,5,10,7\n",
               "row 3", "separator")  # fmt: skip
    yield rows("cut.csv", "breaks off in its last row", "2025-01-20 10:01,10.5", "row 3",
               "export it again")  # fmt: skip
    yield rows("quote.csv", "an open quotation mark", '2025-01-20 10:01,"10.5,10.7\n', "row 3",
               "close every quotation mark")  # fmt: skip
    # Times.
    yield rows("no-time.csv", "a row without its time", ",10.5,10.7\n", time, "2024-02-01 03:10")
    yield rows("us.csv", "day and month in doubt", "01/02/2025 10:01,10.5,10.7\n", time,
               "time_format")  # fmt: skip
    yield rows("month.csv", "a thirteenth month", "2025-13-01 10:01,10.5,10.7\n", time,
               "2024-02-01 03:10")  # fmt: skip
    yield rows("leap.csv", "the 29th of a short February", "2025-02-29 10:01,10.5,10.7\n", time,
               "2024-02-01 03:10")  # fmt: skip
    yield rows("clock.csv", "an hour that no clock shows", "2025-01-20 25:01,10.5,10.7\n", time,
               "00:00 to 24:00")  # fmt: skip
    yield rows("words.csv", "words for a time", "yesterday,10.5,10.7\n", time, "2024-02-01 03:10")
    yield rows("future.csv", "a year typed wrongly", "2052-01-20 10:01,10.5,10.7\n", time,
               "look at its year")  # fmt: skip
    yield rows("dawn.csv", "a logger whose battery was changed", "1904-01-01 00:01,10.5,10.7\n",
               time, "look at its year")  # fmt: skip
    yield wide("form.csv", "not in the form that its mapping names", HEADS + GOOD,
               'row 2, column "time"', "%d/%m/%Y", time_format="%d/%m/%Y %H:%M")  # fmt: skip
    # Values.
    yield rows("text.csv", "a word among the figures", "2025-01-20 10:01,warm,10.7\n", three,
               "10.5")  # fmt: skip
    yield rows("two.csv", "two figures in a cell", "2025-01-20 10:01,10.5 10.6,10.7\n", three,
               "10.5")  # fmt: skip
    yield rows("infinite.csv", "no finite number", "2025-01-20 10:01,10.5,inf\n", five, "10.5")
    yield rows("thousands.csv", "a comma that may be two things",
               '2025-01-20 10:01,"1,400",10.7\n', three, 'decimal = ","')  # fmt: skip
    yield rows("tenths.csv", "whole tenths of a degree", "2025-01-20 10:01,1050,107\n", three,
               "factor = 0.1 for tenths")  # fmt: skip
    yield rows("hot.csv", "°F that nobody mentioned", "2025-01-20 10:01,150,51\n", three,
               'unit = "°F"')  # fmt: skip
    yield rows("kelvin.csv", "°C where its mapping says K", "", 'row 2, column "Tank 3"', "-40",
               unit="K")  # fmt: skip
    yield wide("dates.xlsx", "a figure that the spreadsheet made a date of", "",
               'row 2, column "Tank 3"', "plain numbers")._replace(
        content=sheet(("time", "Tank 3", "Tank 5"), ("2025-01-20 10:00", NOW_AS_DATE, 10.7))
    )  # fmt: skip
    # Names, batches, samples.
    long = "time,tank,temp\n2025-01-20 10:00,tank-3,10.5\n"
    yield Mangled("stranger.csv", "a tank that is none here",
                  f"{long}2025-01-20 10:00,Tank 77,10.5\n".encode(), LONG,
                  'row 3, column "tank"', "[names]")  # fmt: skip
    yield Mangled("valve.csv", "degrees of a valve",
                  f"{long}2025-01-20 10:00,t1-valve,10.5\n".encode(), LONG,
                  'row 3, column "tank"', "product or air")  # fmt: skip

    def batches(name: str, what: str, text: str, column: str, right: str) -> Mangled:
        where = f'row {2 + text.count(chr(10), 0, -1)}, column "{column}"'
        return Mangled(name, what, (OF_BATCHES + text).encode(), BATCHES, where, right)

    yield batches("backwards.csv", "pressed before it began",
                  "8,tank-3,2025-01-10,2025-01-13,2025-01-05,600\n", "pressed",
                  "pressed or taken out")  # fmt: skip
    yield batches("dayless.csv", "a batch without a first day", "8,tank-3,,,2025-02-05,600\n",
                  "soe", "when the batch began")  # fmt: skip
    yield batches("crowded.csv", "two batches in one tank",
                  BATCH + "9,tank-3,2025-01-20,2025-01-23,2025-02-15,600\n", "soe",
                  "log its batch-end first")  # fmt: skip
    yield batches("heavy.csv", "more rice than a tank can hold",
                  "8,tank-3,2025-01-10,2025-01-13,2025-02-05,6000000\n", "soe",
                  "100000")  # fmt: skip
    yield Mangled("lost.csv", "a sample of no batch", b"day,No,Be,alc\n2025-01-20,99,6.5,7.5\n",
                  SAMPLES, 'row 2, column "No"', "import the batches first")  # fmt: skip


NOW_AS_DATE = datetime(2025, 10, 5)


def _plain(mapping: Mapping) -> dict[str, object]:
    return {name: getattr(mapping, name) for name in mapping.__struct_fields__}


def refusal(one: Mangled, folder: Path) -> str:
    """What `kuraban import` says of it; AssertionError where it takes it."""
    path = folder / one.name
    path.write_bytes(one.content)
    importing = Import(house(), folder / "kuraban.journal", NOW)
    try:
        importing.table(path, one.mapping, lambda count: None, lambda count: None)
    except ConfigurationError as error:
        return str(error).replace(f"{folder}/", "")
    finally:
        importing.close()
    raise AssertionError(f"{one.name} was taken")


def table() -> str:
    lines = ["| what | refused with |", "|---|---|"]
    with tempfile.TemporaryDirectory() as folder:
        for one in files():
            told = refusal(one, Path(folder)).replace("|", "\\|")
            lines.append(f"| {one.what} | `{told}` |")
    return "\n".join(lines)


if __name__ == "__main__":
    head, _, _ = README.read_text("utf-8").partition("| what |")
    README.write_text(f"{head}{table()}\n", "utf-8")
    sys.stdout.write(f"{len(list(files()))} files\n")
