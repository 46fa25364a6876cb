"""The long history as a folder: whoever kills it, nothing is lost and nothing stands twice."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pyarrow.parquet as pq
import pytest

from kuraban.core import entries as e
from kuraban.core.effects import Step, Turn
from kuraban.core.facts import EntryOutcome, HouseChanged, Logged, Reading
from kuraban.core.site import to_document
from kuraban.core.units import parse_time
from kuraban.edges.history.folder_writer import STAGED, FolderForwarder, FolderWriter, alone
from kuraban.settings import Receiver
from kuraban.store.forwarded import Forwarded
from kuraban.store.journal import Journal
from tests.journals import house
from tests.nights import wait

NEW_YEAR = parse_time("2026-01-01T00:00:00Z")
AT = NEW_YEAR - 300.0
PIECE = """
import sys
from pathlib import Path
from kuraban.edges.history.folder_writer import FolderWriter
writer = FolderWriter(Path(sys.argv[1]), every=0.0)
number = int(sys.argv[2])
while True:
    line = f'readings\\t{{"probe":"p","time":{1767225600 + number}.0,"value":1.0}}'
    while writer.write([line]).kind != "taken":
        pass
    print(number, flush=True)
    number += 1
"""
"""Stages a reading after the other and says which it has; merges before each."""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tmp_path / "months"


def line(number: int, value: float = 10.0) -> str:
    told = {"probe": "t3-mid", "time": AT + 60.0 * number, "value": value}
    return f"readings\t{json.dumps(told)}"


def rows(folder: Path, table: str = "readings") -> list[dict[str, object]]:
    """All of a table, as another tool reads it."""
    found = [pq.read_table(path).to_pylist() for path in sorted((folder / table).glob("*.parquet"))]
    return [row for month in found for row in month]


def test_what_comes_is_staged_and_then_stands_in_its_month(folder: Path) -> None:
    """At the turn of the year in two; what is told again stands once."""
    writer = FolderWriter(folder, every=0.0)
    assert writer.write([line(n) for n in range(8)]).kind == "taken"
    assert not rows(folder) and (folder / STAGED / "readings.jsonl").exists()
    assert writer.write([line(7), line(8)]).kind == "taken"
    assert writer.write([line(3, 99.0)]).kind == "taken"
    assert writer.write([line(9)]).kind == "taken"
    assert [path.name for path in sorted((folder / "readings").iterdir())] == [
        "2025-12.parquet", "2026-01.parquet",
    ]  # fmt: skip
    found = rows(folder)
    assert [row["time"].timestamp() for row in found] == [AT + 60.0 * n for n in range(9)]  # type: ignore[attr-defined]
    assert {row["value"] for row in found} == {10.0}


def test_half_a_line_that_a_power_cut_left_is_written_anew(folder: Path) -> None:
    FolderWriter(folder).write([line(1)])
    with (folder / STAGED / "readings.jsonl").open("a") as file:
        file.write('{"probe":"t3-mid","time":17')
    writer = FolderWriter(folder, every=0.0)
    assert writer.write([line(2)]).kind == writer.write([line(3)]).kind == "taken"
    assert len(rows(folder)) == 2


def test_two_never_write_at_once(folder: Path) -> None:
    """Who comes second tries again."""
    with alone(folder):
        assert FolderWriter(folder).write([line(1)]).kind == "away"
    assert FolderWriter(folder).write([line(1)]).kind == "taken"


def test_a_folder_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    answer = FolderWriter(tmp_path / "file").write([line(1)])
    assert answer.kind == "away" and "cannot be written" in answer.reason


def test_killed_again_and_again_nothing_is_lost_and_nothing_stands_twice(folder: Path) -> None:
    """SIGKILL to the writer, with or without the program that it started, at any moment."""
    taken = 0
    for number in range(6):
        writer = subprocess.Popen(
            [sys.executable, "-c", PIECE, folder, str(taken)], stdout=subprocess.PIPE, text=True,
            start_new_session=True,
        )  # fmt: skip
        assert writer.stdout is not None
        for _ in range(2):
            taken = int(writer.stdout.readline()) + 1
        time.sleep(0.13 * number)
        (os.killpg if number % 2 else os.kill)(writer.pid, signal.SIGKILL)
        rest = writer.communicate()[0].split()
        taken = max([taken, *(int(one) + 1 for one in rest)])
    last = FolderWriter(folder, every=0.0)
    for _ in range(2):
        assert last.write([line(-1)]).kind == "taken"
    found = [row["time"].timestamp() for row in rows(folder) if row["probe"] == "p"]  # type: ignore[attr-defined]
    expected = [1767225600.0 + n for n in range(taken)]
    assert found[: len(expected)] == expected and len(found) <= len(expected) + 1


@pytest.fixture
def journal(tmp_path: Path) -> Iterator[Path]:
    path = tmp_path / "kuraban.journal"
    kept = Journal.open(path)
    start = e.BatchStart(batch="No. 8", course="moromi-slow-33")
    facts = [
        HouseChanged(AT, to_document(house())),
        Logged("a", "tank-3", start, AT, AT, "aki"),
        EntryOutcome("tank-3", "a", "counted", AT),
        *(Reading("t3-mid", AT + 60.0 * n, 10.0 + n / 10, AT + 60.0 * n) for n in range(5)),
    ]
    step = Step(at=AT + 240, subject="tank-3", condition="warm", step="raised", urgency="wake",
                value=11.0, planned=10.3, text="warm")  # fmt: skip
    kept.commit(Turn(now=AT + 300, facts=facts, story=[step]))
    kept.close()
    yield path


def test_the_journal_goes_into_the_folder(journal: Path, folder: Path) -> None:
    """Readings with place and batch, entries with what became of them, alarm steps."""
    where = Receiver(str(folder), "parquet")
    forwarder = FolderForwarder(journal, where, lambda *_: None, lambda: AT + 300, every=0.05)
    forwarder.start()
    with closing(Forwarded(journal, where.name, "ro")) as held:
        wait(lambda: held.progress().waiting == 0)
    forwarder.stop(10)
    FolderWriter(folder).write([line(90)])
    readings, entries, alarms = (rows(folder, table) for table in ("readings", "entries", "alarms"))
    assert {(row["place"], row["measures"], row["batch"]) for row in readings} == {
        ("tank-3", "product", "No. 8")
    }
    assert [row["value"] for row in readings] == [10.0, 10.1, 10.2, 10.3, 10.4]
    assert sorted(str(row["fate"]) for row in entries) == ["counted", "made"]
    assert alarms[0]["condition"] == "warm" and alarms[0]["planned"] == 10.3
