"""The program that lays staged records into the months of the folder."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pyarrow.parquet as pq

from kuraban.edges.history.folder_merge import merge
from kuraban.edges.history.folder_writer import STAGED, FolderWriter

LINE = 'alarms\t{"time":1767225600.25,"subject":"tank-3","condition":"warm","step":"raised"}'


def test_a_month_has_every_column_whatever_was_told(tmp_path: Path) -> None:
    """What was not told is empty; times are those of UTC to the microsecond."""
    FolderWriter(tmp_path).write([LINE])
    merge(tmp_path)
    assert not (tmp_path / STAGED / "alarms.jsonl").exists()
    month = pq.read_table(tmp_path / "alarms" / "2026-01.parquet")
    assert month.column_names[:4] == ["time", "subject", "condition", "step"]
    assert str(month.schema.field("time").type) == "timestamp[us, tz=UTC]"
    (row,) = month.to_pylist()
    assert row["time"].timestamp() == 1767225600.25 and row["value"] is None


def test_a_month_that_cannot_be_read_is_left_alone_and_told(tmp_path: Path) -> None:
    """What is staged waits until somebody has looked."""
    FolderWriter(tmp_path).write([LINE])
    month = tmp_path / "alarms" / "2026-01.parquet"
    month.parent.mkdir()
    month.write_bytes(b"no parquet")
    answer = FolderWriter(tmp_path, every=0.0).write([LINE])
    assert answer.kind == "away" and "its months cannot be written" in answer.reason
    assert month.read_bytes() == b"no parquet"
    assert (tmp_path / STAGED / "alarms.jsonl").read_text().count("\n") == 1


def test_half_a_line_alone_is_nothing(tmp_path: Path) -> None:
    (tmp_path / STAGED).mkdir()
    (tmp_path / STAGED / "readings.jsonl").write_text('{"probe"')
    command = [sys.executable, "-m", "kuraban.edges.history.folder_merge", tmp_path]
    assert subprocess.run(command, check=True).returncode == 0
    assert not (tmp_path / "readings").exists()
