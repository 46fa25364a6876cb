"""A folder of tables for the shelf: CSV with a checksum a file, and Parquet where it is wanted.

CSV is UTF-8 with a byte order mark, which spreadsheets need to read Japanese; a line ends with
CR LF (RFC 4180). `csv_rows` is the one way in which anything here becomes CSV: people's texts in it
never become a formula. `SHA256SUMS` is what `sha256sum -c` reads. The folder appears under its name
when everything in it is written, or not at all.
"""

from __future__ import annotations

import csv
import hashlib
import os
import shutil
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from importlib.util import find_spec
from itertools import islice
from pathlib import Path
from types import MappingProxyType
from typing import IO, Any, Literal, Protocol

from kuraban.core.texts.sanitized_text import plain

Kind = Literal["text", "number", "whole"]
Cell = str | float | int | None
CHECKSUMS = "SHA256SUMS"
FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")
"""A text that begins so would be reckoned by a spreadsheet, as wide letters are in some."""
BATCH = 10_000
"""Rows that are in memory at a time."""


@dataclass(frozen=True, slots=True)
class Column:
    """`title` names the unit too, where there is one: "planned (°C)"."""

    title: str
    kind: Kind = "text"


@dataclass(frozen=True, slots=True)
class Table:
    """`rows` are told once, in their order, a cell for each column."""

    name: str
    columns: tuple[Column, ...]
    rows: Iterable[tuple[Cell, ...]]


Write = Callable[[Iterable[Iterable[Cell]]], None]


class Writes(Protocol):
    def write(self, text: str, /) -> object: ...


def csv_rows(file: Writes, *, end: str = "\r\n") -> Write:
    """What writes rows to `file` as CSV that a spreadsheet opens without reckoning any text."""
    writer = csv.writer(file, lineterminator=end)

    def write(rows: Iterable[Iterable[Cell]]) -> None:
        writer.writerows([_safe(cell) for cell in row] for row in rows)

    return write


def _safe(cell: Cell) -> Cell:
    """A number stays one; another text never begins like a formula."""
    if not isinstance(cell, str):
        return cell
    try:
        float(cell)
    except ValueError:
        text = plain(cell)
        return f"'{text}" if cell.startswith(FORMULA) else text
    return cell


def parquet_available() -> bool:
    """Whether Parquet can be written here at all."""
    return find_spec("pyarrow") is not None


def write_folder(
    folder: Path,
    tables: Iterable[Table],
    texts: Mapping[str, str] = MappingProxyType({}),
    *,
    parquet: bool = False,
    passed: Callable[[str], None] = lambda name: None,
) -> dict[str, int]:
    """Write the new folder; the number of rows by table. `texts` are further files by name.

    FileExistsError where something lies in it already, OSError where it cannot be written.
    """
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise FileExistsError(str(folder))
    part = folder.with_name(f".{folder.name}.part")
    shutil.rmtree(part, ignore_errors=True)
    part.mkdir(parents=True)
    try:
        counts = {}
        for table in tables:
            passed(table.name)
            counts[table.name] = _table(part, table, parquet)
        for name, text in texts.items():
            (part / name).write_text(text, "utf-8")
        _checksums(part)
        part.rename(folder)
    except BaseException:
        shutil.rmtree(part, ignore_errors=True)
        raise
    return counts


def _table(folder: Path, table: Table, parquet: bool) -> int:
    count, rows = 0, iter(table.rows)
    with ExitStack() as stack:
        writers = [stack.enter_context(_csv(folder, table))]
        if parquet:
            writers.append(stack.enter_context(_parquet(folder, table)))
        while some := list(islice(rows, BATCH)):
            count += len(some)
            for write in writers:
                write(some)
    return count


@contextmanager
def _csv(folder: Path, table: Table) -> Iterator[Write]:
    with (folder / f"{table.name}.csv").open("w", encoding="utf-8-sig", newline="") as file:
        write = csv_rows(file)
        write([[column.title for column in table.columns]])
        yield write
        _on_disk(file)


@contextmanager
def _parquet(folder: Path, table: Table) -> Iterator[Write]:
    import pyarrow as pa
    from pyarrow import parquet as pq

    kinds = {"text": pa.string(), "number": pa.float64(), "whole": pa.int64()}
    schema = pa.schema([(column.title, kinds[column.kind]) for column in table.columns])

    def write(rows: Iterable[Iterable[Cell]]) -> None:
        cells = zip(*rows, strict=True)
        columns: list[Any] = [
            pa.array(own, field.type) for own, field in zip(cells, schema, strict=True)
        ]
        writer.write_table(pa.table(columns, schema=schema))

    with pq.ParquetWriter(folder / f"{table.name}.parquet", schema) as writer:
        yield write


def _on_disk(file: IO[Any]) -> None:
    file.flush()
    os.fsync(file.fileno())


def _checksums(folder: Path) -> None:
    lines = []
    for path in sorted(folder.iterdir()):
        with path.open("rb") as file:
            lines.append(f"{hashlib.file_digest(file, 'sha256').hexdigest()}  {path.name}\n")
    with (folder / CHECKSUMS).open("w", encoding="utf-8") as file:
        file.writelines(lines)
        _on_disk(file)
