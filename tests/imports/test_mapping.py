"""Which column of a table is what."""

from __future__ import annotations

from pathlib import Path

import pytest

from kuraban.errors import ConfigurationError
from kuraban.imports.mapping import called, headed, likely_heads, load, to_toml
from tests.imports.mangled import BATCHES, SAMPLES, WIDE, house


@pytest.mark.parametrize("mapping", [WIDE, BATCHES, SAMPLES])
def test_a_mapping_is_read_as_it_was_kept(tmp_path: Path, mapping: object) -> None:
    path = tmp_path / "kept.toml"
    path.write_text(to_toml(mapping), "utf-8")  # type: ignore[arg-type]
    assert load(path, house()) == mapping


@pytest.mark.parametrize(
    ("text", "right"),
    [
        ("kind = 1", "no mapping"),
        ("kind =", "no TOML"),
        ('kind = "readings"\n[columns]\nt = "time"', "have no place"),
        ('kind = "readings"\n[columns]\na = "tank-3"', "have no `time`"),
        ('kind = "readings"\n[columns]\nt = "time"\na = "tank-33"', "there are tank-3"),
        ('kind = "readings"\n[columns]\nt = "time"\na = "subject"', "beside its `value`"),
        ('kind = "readings"\n[columns]\nt = "time"\na = "tank-3"\nb = "tank-3"', "leave all but"),
        ('kind = "samples"\n[columns]\nt = "time"\nb = "batch"', "have no figure"),
        ('kind = "samples"\n[columns]\nt = "time"\nb = "baume"', "`place` or `batch`"),
        ('kind = "batches"\n[columns]\nb = "batch"\np = "place"', "`end`, `course`"),
        (
            'kind = "batches"\ncourse = "x"\n[columns]\nb = "batch"\np = "place"\ne = "end"',
            "the day on which it began",
        ),
        ('kind = "readings"\ntimezone = "Mars"\n[columns]\nt = "time"\na = "tank-3"', "Asia/Tokyo"),
    ],
)
def test_a_mapping_that_cannot_be_says_what_would_be_right(
    tmp_path: Path, text: str, right: str
) -> None:
    path = tmp_path / "kept.toml"
    path.write_text(text, "utf-8")
    with pytest.raises(ConfigurationError, match=str(path)) as refused:
        load(path, house())
    assert right in str(refused.value)


def test_headings_are_found_below_what_a_logger_says_of_itself() -> None:
    rows = [(1, ["Logger 7"]), (2, ["", ""]), (3, ["time", "Tank 3", "Tank 5", "other"])]
    assert headed(rows, WIDE) == (2, ["time", "Tank 3", "Tank 5", "other"])
    assert headed(rows[:2], WIDE) is None
    assert likely_heads(rows) == 2


def test_a_tank_is_known_by_id_by_name_and_as_mapped() -> None:
    found = house()
    assert called("tank-3", found, {}, found.place) == "tank-3"
    assert called("ＴＡＮＫ ３", found, {}, found.place) == "tank-3"
    assert called("3号", found, {}, found.place) is None
    assert called("3号", found, {"３号": "tank-3"}, found.place) == "tank-3"
