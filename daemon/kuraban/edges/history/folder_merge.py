"""The program that lays staged records into the months of the folder.

    python -m kuraban.edges.history.folder_merge FOLDER

A month is copied under another name with what is new behind it, and takes the place of the old one
when all of it is on the disk; what is staged goes when every month has it. Killed in between, the
next run does the same again: a record that is there already is the same record. A month is never
whole in memory: 28 days of twenty probes took 158 MB, most of which is the library.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.json as pj
import pyarrow.parquet as pq

from kuraban.edges.history.folder_records import NUMBERS, TABLES
from kuraban.edges.history.folder_writer import STAGED, alone, whole_lines
from kuraban.store.connection import on_disk

TIME = pa.timestamp("us", tz="UTC")


def merge(folder: Path) -> None:
    """OSError where something cannot be written; a month is as it was or as it is to be."""
    with alone(folder):
        for table in TABLES:
            staged = folder / STAGED / f"{table}.jsonl"
            if staged.exists():
                _merge(folder / table, _read(staged, table), table)
                staged.unlink()


def _read(staged: Path, table: str) -> Any:
    size = whole_lines(staged.stat().st_size, staged)
    columns = _columns(table)
    schema = pa.schema([(c, pa.float64() if c in NUMBERS else pa.string()) for c in columns])
    if not size:
        return None
    with staged.open("rb") as file:
        told = pj.read_json(
            pa.BufferReader(file.read(size)),
            parse_options=pj.ParseOptions(
                explicit_schema=schema, unexpected_field_behavior="ignore"
            ),
        )
    micros = pc.round(pc.multiply(told["time"], 1e6)).cast(pa.int64()).cast(TIME)
    return told.set_column(told.schema.get_field_index("time"), "time", micros).select(columns)


def _columns(table: str) -> list[str]:
    return ["time", *(c for part in TABLES[table] for c in part if c != "time")]


def _merge(folder: Path, told: Any, table: str) -> None:
    if told is None:
        return
    folder.mkdir(exist_ok=True)
    months = pc.strftime(told["time"], "%Y-%m")
    for month in pc.unique(months).to_pylist():
        path = folder / f"{month}.parquet"
        own = _new(path, _once(told.filter(pc.equal(months, month)), table), table)
        if own.num_rows:
            _write(path, own)


def _once(rows: Any, table: str) -> Any:
    """Each record once, in order."""
    keys, rest = (list(part) for part in TABLES[table])
    found = rows.group_by(keys, use_threads=False).aggregate([(name, "first") for name in rest])
    named = found.rename_columns([name.removesuffix("_first") for name in found.column_names])
    return named.select(rows.column_names).sort_by([(key, "ascending") for key in keys])


def _new(path: Path, own: Any, table: str) -> Any:
    """Those that the month has not; only what it has of the same time is read."""
    if not path.exists():
        return own
    ends, at = pc.min_max(own["time"]).as_py(), pc.field("time")
    keys = list(TABLES[table][0])
    span = (at >= ends["min"]) & (at <= ends["max"])
    known = pq.read_table(path, columns=keys, filters=span)
    left = own.join(known, keys=keys, join_type="left anti", use_threads=False)
    return left.select(own.column_names).sort_by([(key, "ascending") for key in keys])


def _write(path: Path, own: Any) -> None:
    """The month as it is, piece by piece, and behind it what is new."""
    part = path.with_suffix(".part")
    with part.open("wb") as file:
        with pq.ParquetWriter(file, own.schema, compression="zstd") as month:
            if path.exists():
                known = pq.ParquetFile(path)
                for number in range(known.num_row_groups):
                    month.write_table(known.read_row_group(number).cast(own.schema))
            month.write_table(own)
        file.flush()
        os.fsync(file.fileno())
    part.rename(path)
    on_disk(path.parent)


if __name__ == "__main__":
    merge(Path(sys.argv[1]))
