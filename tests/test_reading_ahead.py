"""What is read ahead in another process is what would have been read at hand."""

from __future__ import annotations

import multiprocessing
from pathlib import Path

import msgspec
import pytest

from kuraban import reading_ahead
from kuraban.core.facts import Reading
from kuraban.core.intake.wire import Wire
from kuraban.core.site import House, to_document
from kuraban.errors import RecordingError
from kuraban.reading_ahead import Load, loads, read_ahead
from kuraban.recording import BadLine, Recorded, merged
from tests.core.busy_night import DAWN, HOUSE, messages
from tests.journals import house as brewery
from tests.journals import recording
from tests.test_replay import played, recorded

Told = list[Recorded | Reading]


def at_hand(house: House, path: Path) -> tuple[Told, list[BadLine]]:
    """Messages as they are merged, those that are one reading as the front door makes it."""
    wire, bad, found = Wire(house, "kura", wall=False), list[BadLine](), Told()
    for number, message in enumerate(merged([path], bad.append, lambda count: None)):
        told = reading_ahead.house_told(message, "kura")
        wire = wire if told is None else Wire(told, "kura", wall=False)
        facts = wire.read(message.topic, message.payload, message.at, message.retained)
        one = number and len(facts) == 1 and isinstance(facts[0], Reading)
        found.append(facts[0] if one and isinstance(facts[0], Reading) else message)
    return found, bad


def ahead(house: House, path: Path) -> tuple[Told, list[BadLine]]:
    found, bad = Told(), list[BadLine]()
    for load in map(msgspec.msgpack.Decoder(Load).decode, loads(house, "kura", [path])):
        found += reading_ahead._in_order(load)
        bad += load.bad
    return found, bad


@pytest.fixture
def processes(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(reading_ahead, "LITTLE", 0)
    monkeypatch.setattr(reading_ahead.os, "cpu_count", lambda: 2)


@pytest.mark.parametrize("night", ["mangled", "outage-backfill", "wild-codes"])
def test_every_message_crosses_over_in_its_place(night: str) -> None:
    assert ahead(brewery(), recording(night)) == at_hand(brewery(), recording(night))


def test_a_house_that_the_recording_tells_counts_from_there(tmp_path: Path) -> None:
    """Here its probes have an offset, and one is heard on a topic of its own."""
    first, *others = HOUSE.probes
    moved = [msgspec.structs.replace(probe, offset=0.5) for probe in others]
    probes = (msgspec.structs.replace(first, topic="other/place"), *moved)
    changed = to_document(msgspec.structs.replace(HOUSE, probes=probes))
    sent = messages()
    half = len(sent) // 2
    told = sent[half]._replace(topic="kura/watch/house", payload=changed)
    path = recorded(tmp_path / "night.jsonl", *sent[:half], told, *sent[half:])
    assert ahead(HOUSE, path) == at_hand(HOUSE, path)


def test_a_replay_that_reads_ahead_tells_the_same_bytes(
    tmp_path: Path, request: pytest.FixtureRequest
) -> None:
    night = recorded(tmp_path / "night.jsonl", *messages())
    night.write_bytes(b"nonsense\n\n" + night.read_bytes())
    expected = [played(night, until=until) for until in (DAWN, DAWN - 20_000.0)]
    request.getfixturevalue("processes")
    assert [played(night, until=until) for until in (DAWN, DAWN - 20_000.0)] == expected
    assert not multiprocessing.active_children()


def test_a_recording_that_breaks_off_is_named(tmp_path: Path, processes: None) -> None:
    path = tmp_path / "night.jsonl.gz"
    path.write_bytes(recording("mangled").read_bytes()[:-200])
    with pytest.raises(RecordingError, match="breaks off"):
        list(read_ahead(HOUSE, "kura", [path], lambda line: None, lambda count: None))
