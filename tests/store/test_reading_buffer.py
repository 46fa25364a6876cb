"""What was read waits on the disk until the broker has it: in order, bounded, losses told."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from kuraban.errors import JournalError
from kuraban.store import reading_buffer
from kuraban.store.reading_buffer import ReadingBuffer


@pytest.fixture
def said() -> list[str]:
    return []


def opened(folder: Path, said: list[str], keep: int = 1000) -> ReadingBuffer:
    return ReadingBuffer(folder / "feed.buffer", keep, said.append)


def readings(first: int, count: int, probe: str = "t3-mid") -> Iterator[tuple[str, str, float]]:
    return ((probe, f"{number}.5", 1e9 + number) for number in range(first, first + count))


def values(buffer: ReadingBuffer) -> list[float]:
    return [float(one.value) for one in buffer.oldest(10_000)]


def test_what_waits_outlives_the_process_and_keeps_its_order(
    tmp_path: Path, said: list[str]
) -> None:
    first = opened(tmp_path, said)
    first.add(readings(0, 3))
    first.add(readings(3, 2))
    first.close()
    again = opened(tmp_path, said)
    assert (again.count, values(again)) == (5, [0.5, 1.5, 2.5, 3.5, 4.5])
    again.strike_off({"t3-mid": again.oldest(2)[-1].number})
    again.add(readings(5, 1))
    assert values(again) == [2.5, 3.5, 4.5, 5.5] and not said


def test_a_probe_that_is_left_out_holds_up_no_other(tmp_path: Path, said: list[str]) -> None:
    buffer = opened(tmp_path, said)
    buffer.add(readings(0, 3, "t3-mid"))
    buffer.add(readings(3, 2, "t4-mid"))
    others = buffer.oldest(10, ["t3-mid"])
    assert [one.value for one in others] == ["3.5", "4.5"]
    buffer.strike_off({"t4-mid": others[-1].number})
    assert values(buffer) == [0.5, 1.5, 2.5]


def test_a_full_buffer_drops_the_oldest_and_says_so_once(tmp_path: Path, said: list[str]) -> None:
    buffer = opened(tmp_path, said, keep=10)
    for first in range(0, 20, 4):
        buffer.add(readings(first, 4))
    assert values(buffer) == [number + 0.5 for number in range(10, 20)]
    assert said == ["full with 10 readings: the oldest are being dropped"]
    buffer.strike_off({"t3-mid": buffer.oldest(5)[-1].number})
    assert said[1:] == ["no longer full; 10 readings were dropped, the oldest first"]


def test_a_process_killed_amid_loses_nothing_that_it_had_told_of(tmp_path: Path) -> None:
    """Killed from outside between any two statements; what stood stands."""
    code = (
        "import sys; from pathlib import Path;"
        "from kuraban.store.reading_buffer import ReadingBuffer;"
        "b = ReadingBuffer(Path(sys.argv[1]), 10**6, print); n = 0\n"
        "while True:\n b.add([('t', str(n), 1e9 + n)]); print(n, flush=True); n += 1"
    )
    path = tmp_path / "feed.buffer"
    child = subprocess.Popen(
        [sys.executable, "-c", code, str(path)], stdout=subprocess.PIPE, text=True
    )
    assert child.stdout is not None
    for _ in range(20):
        told = int(child.stdout.readline())
    child.kill()
    told = max([told, *(int(line) for line in child.stdout.read().splitlines())])
    child.wait()
    found = [int(one.value) for one in ReadingBuffer(path, 10**6, print).oldest(10**6)]
    assert found[: told + 1] == list(range(told + 1)) and len(found) <= told + 2


def test_a_damaged_file_is_set_aside(tmp_path: Path, said: list[str]) -> None:
    (tmp_path / "feed.buffer").write_bytes(b"rice" * 500)
    buffer = opened(tmp_path, said)
    buffer.add(readings(0, 2))
    assert values(buffer) == [0.5, 1.5]
    assert "is damaged" in said[0] and (tmp_path / "feed.buffer.damaged").exists()


def test_a_folder_that_cannot_be_written_is_told(tmp_path: Path, said: list[str]) -> None:
    (tmp_path / "file").touch()
    with pytest.raises(JournalError, match="open what was not sent yet"):
        opened(tmp_path / "file", said)


@pytest.mark.needs_root
def test_on_a_full_disk_the_newest_are_held_in_memory_and_sent_from_there(
    tmp_path: Path, said: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """What was sent meanwhile is not sent again, though it cannot be struck off."""
    monkeypatch.setattr(reading_buffer, "IN_MEMORY", 50)
    subprocess.run(["mount", "-t", "tmpfs", "-o", "size=256k", "tmpfs", tmp_path], check=True)
    try:
        buffer = opened(tmp_path, said)
        buffer.add(readings(0, 5))
        with (tmp_path / "filler").open("wb", buffering=0) as filler, pytest.raises(OSError):
            while filler.write(bytes(1024)):
                pass
        for first in range(5, 105, 10):
            buffer.add(readings(first, 10))
        kept = values(buffer)
        assert kept[:5] == [0.5, 1.5, 2.5, 3.5, 4.5] and kept[-50:] == [
            n + 0.5 for n in range(55, 105)
        ]
        buffer.strike_off({"t3-mid": buffer.oldest(10_000)[-11].number})
        assert values(buffer) == [n + 0.5 for n in range(95, 105)]
        assert len(said) == 2 and "cannot be written" in said[0] and "dropped" in said[1]
        (tmp_path / "filler").unlink()
        buffer.add(readings(105, 1))
        assert values(buffer) == [n + 0.5 for n in range(95, 106)]
        assert "can be written again" in " ".join(said[2:])
        buffer.close()
    finally:
        subprocess.run(["umount", tmp_path], check=True)
