"""A table under its mapping."""

from __future__ import annotations

from pathlib import Path

import pytest

from kuraban.imports.mapping import Mapping
from kuraban.imports.table import table_at
from tests.imports.mangled import GOOD, HEADS, WIDE, house


def test_rows_are_as_wide_as_the_headings_and_empty_ones_pass(tmp_path: Path) -> None:
    path = tmp_path / "t.csv"
    path.write_text(f"Logger 7\n\n{HEADS}{GOOD}\n2025-01-20 10:01,10.5\n{GOOD}", "utf-8")
    with table_at(path, WIDE, house(), lambda count: None) as table:
        rows = list(table.rows())
    assert [number for number, _ in rows] == [4, 6, 7] and rows[1][1][-1] == ""
    assert table.at_row == 7


@pytest.mark.parametrize(
    ("cell", "decimal", "value"),
    [
        ("10.5", None, 10.5), (" 10,5 ", None, 10.5), ("１０．５", None, 10.5),
        ("10.5 ℃", None, 10.5), ("1.400,5", ",", 1400.5), ("1,400.5", ".", 1400.5),
        (10.5, ",", 10.5), ("---", None, None), ("欠測", None, None), ("NaN", None, None),
    ],
)  # fmt: skip
def test_a_figure_as_it_is_written(
    tmp_path: Path, cell: str | float, decimal: str | None, value: float | None
) -> None:
    """A comma for a point, wide digits, a unit behind it, words for a gap."""
    path = tmp_path / "t.csv"
    path.write_text(HEADS, "utf-8")
    mapping = Mapping(kind="readings", columns=WIDE.columns, decimal=decimal)  # type: ignore[arg-type]
    with table_at(path, mapping, house(), lambda count: None) as table:
        assert table.number(cell, "Tank 3") == value
        assert table.gaps.total() == (value is None)


def test_a_day_and_its_time_may_stand_in_two_columns(tmp_path: Path) -> None:
    path = tmp_path / "t.csv"
    path.write_text("day,hour,tank\n2025/1/20,3:10,10\n", "utf-8")
    columns = {"day": "date", "hour": "clock", "tank": "tank-3"}
    mapping = Mapping(kind="readings", columns=columns)
    with table_at(path, mapping, house(), lambda count: None) as table:
        ((number, cells),) = table.rows()
        at = table.moment(number, cells, "", float("inf"))
    assert at == 1737310200.0
