"""Recordings from outside: read line by line, in little memory, whatever they unpack to."""

from __future__ import annotations

import gzip
import os
import resource
import subprocess
import time
import zlib
from pathlib import Path

import pytest

from tests.cli.conftest import KURABAN, SITE

ROOM = 300_000_000
"""Bytes of address space that a child may have: the program with its libraries takes most."""
LINE = b'{"tst": "2026-02-01T03:10:00+09:00", "topic": "kura/reading/none", "payload": "10.4"}\n'


def replayed(*recordings: Path) -> subprocess.CompletedProcess[str]:
    def bound() -> None:
        resource.setrlimit(resource.RLIMIT_AS, (ROOM, ROOM))

    return subprocess.run(
        [*KURABAN, "replay", "--site", SITE, *recordings], preexec_fn=bound, text=True,
        capture_output=True, timeout=60, env={**os.environ, "MALLOC_ARENA_MAX": "2"},
    )  # fmt: skip


def test_two_megabytes_that_unpack_to_two_gigabytes_are_told(tmp_path: Path) -> None:
    """Within its memory, with the name of the file; nobody waits for the rest."""
    bomb = tmp_path / "bomb.jsonl.gz"
    bomb.write_bytes(gzip.compress(b"0" * 100_000_000) * 20)
    assert bomb.stat().st_size < 2_100_000
    began = time.monotonic()
    done = replayed(bomb)
    assert done.returncode == 2 and time.monotonic() - began < 20
    assert f"{bomb}: unpacks to more than 200 times its size" in done.stderr
    assert "Traceback" not in done.stderr and "MemoryError" not in done.stderr


@pytest.mark.parametrize("packed", [True, False])
def test_a_line_without_end_is_one_bad_line(tmp_path: Path, packed: bool) -> None:
    """What stands behind it is read."""
    noise = os.urandom(1_000_000).replace(b"\n", b"")
    path = tmp_path / ("long.jsonl.gz" if packed else "long.jsonl")
    parts = [LINE, *[noise] * 100, b"\n", LINE]
    with gzip.open(path, "wb", 0) if packed else path.open("wb") as file:
        for part in parts:
            file.write(part)
    done = replayed(path)
    assert done.returncode == 0
    assert "2 messages" in done.stderr and "1 bad line" in done.stderr
    assert f"{path}:2: is longer than 2 MB" in done.stderr


def test_bad_lines_without_number_are_counted_and_not_kept(tmp_path: Path) -> None:
    path = tmp_path / "noise.jsonl"
    path.write_bytes(LINE + b"warm\n" * 400_000)
    done = replayed(path)
    assert done.returncode == 0 and "400,000 bad lines" in done.stderr
    assert len(done.stderr.splitlines()) < 30


@pytest.mark.parametrize("spoiled", ["torn", "not gzip", "checksum"])
def test_a_damaged_recording_says_where_to_get_another(tmp_path: Path, spoiled: str) -> None:
    path = tmp_path / "night.jsonl.gz"
    whole = gzip.compress(LINE * 5000)
    path.write_bytes({
        "torn": whole[:-20], "not gzip": zlib.compress(LINE), "checksum": whole[:-8] + b"\0" * 8,
    }[spoiled])  # fmt: skip
    done = replayed(path)
    assert done.returncode == 2 and "Traceback" not in done.stderr
    assert f"{path}: breaks off" in done.stderr and "copy it anew" in done.stderr
