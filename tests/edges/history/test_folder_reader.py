"""Readings out of the months of the folder."""

from __future__ import annotations

from pathlib import Path

from kuraban.edges.history.folder_merge import merge
from kuraban.edges.history.folder_reader import readings
from kuraban.edges.history.folder_writer import FolderWriter

NEW_YEAR = 1767225600.0


def test_a_span_is_read_across_the_turn_of_a_month(tmp_path: Path) -> None:
    """Of one probe, in order, its end left out; nothing where there is no folder."""
    told = [
        f'readings\t{{"probe":"{probe}","time":{NEW_YEAR + n},"value":{n}.5}}'
        for n in (2, -1, 0, 1, -2)
        for probe in ("a", "b")
    ]
    FolderWriter(tmp_path).write(told)
    merge(tmp_path)
    found = list(readings(tmp_path, "a", NEW_YEAR - 1, NEW_YEAR + 2))
    assert found == [(NEW_YEAR + n, n + 0.5 if n >= 0 else n - 0.5) for n in (-1, 0, 1)]
    assert not list(readings(tmp_path, "c", NEW_YEAR - 1, NEW_YEAR + 2))
    assert not list(readings(tmp_path / "none", "a", NEW_YEAR - 1, NEW_YEAR + 2))
