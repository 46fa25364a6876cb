"""The long history as a folder: Parquet files by month, which any data tool reads.

    readings/2026-02.parquet   entries/2026-02.parquet   alarms/2026-02.parquet

A month is one of UTC. What comes is staged as lines of JSON, on the disk before the cursor moves;
once a day, and whenever much waits, a program of its own (`folder_merge`) lays it into the months.
That one needs the library and its memory, the watch does not. A lock keeps the two apart, also
where one of them outlived the other.
"""

from __future__ import annotations

import fcntl
import os
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Final

from kuraban.core.units import DAY, MINUTE
from kuraban.edges.history.answer import TAKEN, Answer
from kuraban.edges.history.folder_records import Records
from kuraban.edges.history.forwarder import Forwarder
from kuraban.edges.history.line_protocol import Points
from kuraban.store.connection import on_disk

STAGED: Final = ".staged"
MUCH: Final = 32 << 20
"""Bytes that are staged at most."""
MERGED_WITHIN: Final = 20 * MINUTE


class FolderForwarder(Forwarder):
    """Forwards the journal into the folder that `where.url` names."""

    def _connect(self) -> FolderWriter:
        return FolderWriter(Path(self._where.url))

    def _maker(self) -> Points:
        return Records(self._where.site)


@contextmanager
def alone(folder: Path) -> Iterator[None]:
    """Nobody else stages or merges meanwhile; BlockingIOError where somebody does."""
    staged = folder / STAGED
    staged.mkdir(parents=True, exist_ok=True)
    with (staged / "lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        yield


class FolderWriter:
    """Stages records and has them merged; `every` seconds, and at the first after a start."""

    def __init__(self, folder: Path, every: float = DAY) -> None:
        self._folder, self._every = folder, every
        self._merged_at = float("-inf")

    def write(self, lines: Sequence[str]) -> Answer:
        """On the disk when this returns. A line is never refused."""
        try:
            if (answer := self._merge_if_due()) is not None:
                return answer
            with alone(self._folder):
                for table in dict.fromkeys(line.partition("\t")[0] for line in lines):
                    self._append(table, lines)
        except BlockingIOError:
            return Answer("away", "its months are being written")
        except OSError as error:
            return Answer("away", f"cannot be written ({error.strerror or error})")
        return TAKEN

    def close(self) -> None:
        """What is staged is merged at the next start."""

    def _append(self, table: str, lines: Sequence[str]) -> None:
        """Behind the last whole line: a power cut may have left half of one."""
        head = f"{table}\t"
        told = [line[len(head) :] for line in lines if line.startswith(head)]
        path = self._folder / STAGED / f"{table}.jsonl"
        new = not path.exists()
        with path.open("a+b") as file:
            file.truncate(whole_lines(file.seek(0, os.SEEK_END), path))
            file.write("".join(f"{line}\n" for line in told).encode())
            file.flush()
            os.fsync(file.fileno())
        if new:
            on_disk(path.parent)

    def _merge_if_due(self) -> Answer | None:
        """What is in the way, None where all is well."""
        staged = [path.stat().st_size for path in (self._folder / STAGED).glob("*.jsonl")]
        due = time.monotonic() - self._merged_at >= self._every
        if not staged or not (due or sum(staged) > MUCH):
            self._merged_at = self._merged_at if staged else time.monotonic()
            return None
        command = [sys.executable, "-P", "-m", "kuraban.edges.history.folder_merge"]
        try:
            done = subprocess.run(
                [*command, str(self._folder)], capture_output=True, stdin=subprocess.DEVNULL,
                timeout=MERGED_WITHIN,
            )  # fmt: skip
        except subprocess.TimeoutExpired:
            return Answer("away", f"its months took longer than {MERGED_WITHIN / MINUTE:.0f} min")
        if done.returncode:
            said = done.stderr.decode("utf-8", "replace").strip().rpartition("\n")[2]
            return Answer("away", f"its months cannot be written ({said[:200]})")
        self._merged_at = time.monotonic()
        return None


def whole_lines(size: int, path: Path) -> int:
    """How many bytes of a file are whole lines."""
    with path.open("rb") as file:
        while size:
            start = max(size - 65536, 0)
            file.seek(start)
            found = file.read(size - start).rfind(b"\n")
            if found >= 0:
                return start + found + 1
            size = start
    return 0
