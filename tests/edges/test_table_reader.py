"""Tables as loggers and spreadsheets leave them; what is refused stands in tests/imports."""

from __future__ import annotations

import codecs
import zipfile
from pathlib import Path

import pytest

from kuraban.edges.table_reader import Shape, opened
from kuraban.errors import ConfigurationError
from tests.imports.mangled import sheet

WRITTEN = "日時,タンク3\n2025-01-20 10:00,10.5\n"


def read(path: Path, content: bytes, **how: str) -> list[list[object]]:
    path.write_bytes(content)
    with opened(path, Shape(**how)) as (rows, _):
        return [list(cells) for _, cells in rows]


@pytest.mark.parametrize(
    "content",
    [
        WRITTEN.encode(),
        codecs.BOM_UTF8 + WRITTEN.encode(),
        WRITTEN.encode("cp932"),
        WRITTEN.encode("utf-16"),
        WRITTEN.replace(",", ";").encode(),
        WRITTEN.replace(",", "\t").replace("\n", "\r\n").encode("cp932"),
    ],
)
def test_the_same_table_in_every_dress(tmp_path: Path, content: bytes) -> None:
    """UTF-8 with and without its mark, Shift_JIS, UTF-16; commas, semicolons, tabs."""
    found = read(tmp_path / "table.csv", content)
    assert found == [["日時", "タンク3"], ["2025-01-20 10:00", "10.5"]]


def test_a_comma_in_every_value_separates_nothing(tmp_path: Path) -> None:
    text = "time;tank\n2025-01-20 10:00;10,5\n2025-01-20 10:01;10,6\n"
    assert read(tmp_path / "table.csv", text.encode())[1] == ["2025-01-20 10:00", "10,5"]


def test_a_mapping_may_say_how_it_is_read(tmp_path: Path) -> None:
    found = read(
        tmp_path / "table.csv", "t|°C,x\n".encode("cp1252"), encoding="cp1252", separator="|"
    )
    assert found == [["t", "°C,x"]]


def test_a_spreadsheet_that_unpacks_without_end_is_none(tmp_path: Path) -> None:
    """It is refused before anything of it is unpacked."""
    path = tmp_path / "table.xlsx"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("xl/sharedStrings.xml", bytes(50_000_000))
    with pytest.raises(ConfigurationError, match="more than 200 times"), opened(path, Shape()):
        pass


def test_a_spreadsheet_is_read_row_by_row(tmp_path: Path) -> None:
    """Numbers are numbers; what is empty at the end is not there."""
    path = tmp_path / "table.xlsx"
    found = read(path, sheet(("time", "tank"), ("2025-01-20", 10), ("x", None)))
    assert found == [["time", "tank"], ["2025-01-20", 10.0], ["x"]]
