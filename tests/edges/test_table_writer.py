"""A folder of tables: read back as it was written, checked by the system's own tool."""

from __future__ import annotations

import csv
import io
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest
from pyarrow import parquet

from kuraban.edges.table_writer import (
    Cell,
    Column,
    Table,
    csv_rows,
    parquet_available,
    write_folder,
)

COLUMNS = (Column("who"), Column("product (°C)", "number"), Column("day", "whole"))
ROWS: list[tuple[Cell, ...]] = [
    ("aki", 10.46, 3),
    (None, None, None),
    ('said "静か", then\nleft', -0.5, 33),
]


def table(name: str = "samples") -> Table:
    return Table(name, COLUMNS, list(ROWS))


def test_a_spreadsheet_reads_it(tmp_path: Path) -> None:
    """Units in the first line, Japanese whole, an empty cell where nothing is known."""
    counts = write_folder(tmp_path / "no-13", [table()], {"README.txt": "手控え\n"})
    assert counts == {"samples": 3}
    path = tmp_path / "no-13" / "samples.csv"
    assert path.read_bytes().startswith(b"\xef\xbb\xbfwho,product (\xc2\xb0C),day\r\n")
    with path.open(encoding="utf-8-sig", newline="") as file:
        read = list(csv.reader(file))
    assert read[1:] == [
        ["aki", "10.46", "3"], ["", "", ""], ['said "静か", then\nleft', "-0.5", "33"],
    ]  # fmt: skip


def test_parquet_says_the_same_in_its_own_kinds(tmp_path: Path) -> None:
    many = Table("many", COLUMNS, (row for _ in range(9_000) for row in ROWS))
    empty = Table("empty", COLUMNS, [])
    write_folder(tmp_path / "no-13", [many, empty], parquet=True)
    read = parquet.read_table(tmp_path / "no-13" / "many.parquet")
    assert read.num_rows == 27_000
    assert [tuple(row.values()) for row in read.slice(26_997).to_pylist()] == ROWS
    assert parquet.read_table(tmp_path / "no-13" / "empty.parquet").num_rows == 0
    assert parquet_available()


def test_the_checksums_are_those_of_the_files(tmp_path: Path) -> None:
    """As the system's tool reads them; a changed cell is found."""
    folder = tmp_path / "no-13"
    write_folder(folder, [table(), table("sheet")], {"README.txt": "a record\n"}, parquet=True)
    check = ["sha256sum", "--strict", "-c", "SHA256SUMS"]
    done = subprocess.run(check, cwd=folder, capture_output=True, text=True, check=True)
    assert done.stdout.count(": OK") == len([*folder.iterdir()]) - 1 == 5
    with (folder / "sheet.csv").open("a") as file:
        file.write("ken,9.9,4\r\n")
    done = subprocess.run(check, cwd=folder, capture_output=True, text=True, check=False)
    assert done.returncode == 1 and "sheet.csv: FAILED" in done.stdout


def test_nothing_is_overwritten(tmp_path: Path) -> None:
    """An empty folder that somebody made for it may be filled."""
    folder = tmp_path / "no-13"
    folder.mkdir()
    write_folder(folder, [table()])
    with pytest.raises(FileExistsError):
        write_folder(folder, [table("sheet")])
    assert not (folder / "sheet.csv").exists()


def test_half_a_folder_never_has_the_name(tmp_path: Path) -> None:
    """Where the journal fails in the middle nothing is left behind."""

    def failing() -> Iterator[tuple[Cell, ...]]:
        yield ROWS[0]
        raise RuntimeError("the card was pulled out")

    with pytest.raises(RuntimeError):
        write_folder(
            tmp_path / "no-13", [table(), Table("sheet", COLUMNS, failing())], parquet=True
        )
    assert not [*tmp_path.iterdir()]


def test_no_text_becomes_a_formula_and_a_number_stays_one() -> None:
    """As a spreadsheet would reckon it, in letters of either width."""
    file = io.StringIO()
    texts = ("=1+1", "+1+1", "-2+3", "@SUM(A1)", "\t=1", "\r=1", "\n=1", "＝1", "－1+1", "warm")
    csv_rows(file)([texts, (-1.5, 7, None, "-1.5", "+3", "1e5")])
    first, second = csv.reader(io.StringIO(file.getvalue(), newline=""))
    assert all(cell.startswith("'") for cell in first[:-1]) and first[-1] == "warm"
    assert second == ["-1.5", "7", "", "-1.5", "+3", "1e5"]
