"""Tables as loggers and spreadsheets leave them: rows of cells, from CSV or XLSX.

CSV is read in UTF-8 (with or without a mark), UTF-16 with its mark, or CP932, the Shift_JIS of
Japanese machines; its separator is the one that cuts the first lines alike. XLSX needs the extra
`import`, and is read row by row. Whatever no table can be is told as a Fault: file, row, and what
would be right.
"""

from __future__ import annotations

import codecs
import csv
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import datetime, time
from importlib.util import find_spec
from itertools import chain, islice
from pathlib import Path
from typing import NoReturn
from zipfile import ZipFile

import msgspec

from kuraban.errors import ConfigurationError, Fault

Cell = str | float | datetime | time
Row = tuple[int, Sequence[Cell]]
"""Its number in the file, from 1, and its cells; an empty cell is ""."""
ENCODINGS = ("utf-8-sig", "cp932")
SEPARATORS = "\t;|,"
"""In this order: a comma that stands in every line may be that of the decimals."""
PIECE = 1 << 20
GLANCE = 20
"""Lines that are looked at for the separator."""
AT_MOST = 200
"""A spreadsheet's numbers and dates unpack to some ten times their size."""
OLD_EXCEL = b"\xd0\xcf\x11\xe0"
SPREADSHEET = ".xlsx"


class Shape(msgspec.Struct, frozen=True, kw_only=True):
    """How a file is to be read; None is found out."""

    encoding: str | None = None
    separator: str | None = None
    sheet: str | None = None


def refuse(where: object, key: str, wrong: str, right: str) -> NoReturn:
    raise ConfigurationError([Fault(str(where), key, wrong, right)])


@contextmanager
def opened(path: Path, shape: Shape) -> Iterator[tuple[Iterator[Row], int]]:
    """The rows of a table, and about how many there are. ConfigurationError, now or while they are
    read, where it is none."""
    try:
        with path.open("rb") as file:
            start = file.read(4)
        if not start:
            refuse(path, "the file", "is empty", "name a table with a row of headings")
        if start == OLD_EXCEL:
            right = "save it from the spreadsheet as .xlsx without a password, or as CSV"
            refuse(path, "the file", "is an old or locked spreadsheet (.xls)", right)
        if path.suffix.lower() == SPREADSHEET:
            with _spreadsheet(path, shape.sheet) as found:
                yield found
            return
        if start.startswith((b"PK\x03\x04", b"\x1f\x8b")):
            right = "give a spreadsheet its ending .xlsx; unpack an archive first"
            refuse(path, "the file", "is packed, no plain table", right)
        encoding, lines = _encoding(path, shape.encoding)
        with path.open(encoding=encoding, newline="") as text:
            yield _csv(path, text, shape.separator), lines
    except OSError as error:
        right = "name a table that you may read"
        refuse(path, "the file", f"cannot be read ({error.strerror or error})", right)


def _encoding(path: Path, given: str | None) -> tuple[str, int]:
    """What the whole file can be read in, and how many lines it has."""
    with path.open("rb") as file:
        mark = file.read(2)
    if given is None and mark in (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE):
        given = "utf-16"
    try:
        readers = {name: codecs.getincrementaldecoder(name)() for name in (
            ENCODINGS if given is None else (given,))}  # fmt: skip
    except LookupError:
        right = 'such as "utf-8", "cp932" or "cp1252"'
        refuse(path, "encoding", f'there is no encoding "{given}"', right)
    lines, met = 0, 1
    with path.open("rb") as file:
        while piece := file.read(PIECE):
            for name, reader in [*readers.items()]:
                try:
                    if "\0" in reader.decode(piece):
                        right = "name a table as text, or a spreadsheet .xlsx"
                        refuse(path, f"line {lines + 1}", "holds bytes of no text", right)
                except UnicodeDecodeError as error:
                    met = max(met, lines + piece.count(b"\n", 0, error.start) + 1)
                    del readers[name]
            if not readers:
                right = 'save it as UTF-8, or name its encoding in the mapping: encoding = "cp1252"'
                tried = given or "UTF-8 nor Shift_JIS"
                refuse(path, f"line {met}", f"is no text in {tried}", right)
            lines += piece.count(b"\n")
    return next(iter(readers)), lines


def _csv(path: Path, text: Iterator[str], separator: str | None) -> Iterator[Row]:
    head = list(islice(text, GLANCE))
    mark = separator or _separator(head)
    reader = csv.reader(chain(head, text), delimiter=mark, strict=True)
    try:
        for cells in reader:
            yield reader.line_num, cells
    except csv.Error as error:
        right = "close every quotation mark, and double one that belongs to a text"
        refuse(path, f"row {reader.line_num}", f"cannot be cut into cells ({error})", right)


def _separator(head: list[str]) -> str:
    """The one by which most of the first lines have the same number of cells, more than one."""

    def alike(mark: str) -> int:
        counts = [line.count(mark) for line in head if line.strip()]
        return max((counts.count(count) for count in {*counts} - {0}), default=0)

    return max(SEPARATORS, key=alike)


@contextmanager
def _spreadsheet(path: Path, sheet: str | None) -> Iterator[tuple[Iterator[Row], int]]:
    if find_spec("openpyxl") is None:
        right = "install it: /opt/kuraban/bin/pip install 'kuraban[import]'; or save it as CSV"
        refuse(path, "the file", "needs openpyxl, which is not installed", right)
    import openpyxl

    wrong: tuple[type[Exception], ...] = (Exception,)
    try:
        with ZipFile(path) as packed:
            size = sum(part.file_size for part in packed.infolist())
        if size > AT_MOST * path.stat().st_size:
            raise ValueError(f"it unpacks to more than {AT_MOST} times its size")
        book = openpyxl.load_workbook(path, read_only=True, data_only=True)
    except wrong as error:
        right = "open it in the spreadsheet and save it anew as .xlsx, or as CSV"
        refuse(path, "the file", f"is no spreadsheet that can be read ({error})", right)
    try:
        names = book.sheetnames
        if sheet is not None and sheet not in names:
            refuse(path, "sheet", f'there is no sheet "{sheet}"', f"there are {', '.join(names)}")
        page = book[sheet] if sheet is not None else book.worksheets[0]
        page.reset_dimensions()
        yield _cells(path, page.iter_rows(values_only=True)), 0
    finally:
        book.close()


def _cells(path: Path, rows: Iterator[tuple[object, ...]]) -> Iterator[Row]:
    number = 0
    try:
        for number, row in enumerate(rows, start=1):
            yield number, [_plain(cell) for cell in row]
    except ConfigurationError:
        raise
    except Exception as error:
        right = "open it in the spreadsheet and save it anew as .xlsx, or as CSV"
        refuse(path, f"row {number + 1}", f"cannot be read ({error})", right)


def _plain(cell: object) -> Cell:
    if cell is None:
        return ""
    if isinstance(cell, (datetime, time)):
        return cell
    if isinstance(cell, (int, float)) and not isinstance(cell, bool):
        return float(cell)
    return str(cell)
