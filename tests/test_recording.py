"""Recordings as people and tools write them."""

from __future__ import annotations

import gzip
import json
from contextlib import suppress
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kuraban.core.units import parse_time
from kuraban.errors import RecordingError
from kuraban.recording import BadLine, Recorded, merged, read_line, size_of

AT = parse_time("2026-02-01T03:10:00+09:00")


def line(**members: object) -> bytes:
    return json.dumps({"tst": "2026-02-01T03:10:00+09:00", "topic": "kura/x", **members}).encode()


def read(*paths: Path) -> tuple[list[Recorded], list[BadLine]]:
    bad: list[BadLine] = []
    return list(merged(list(paths), bad.append, lambda count: None)), bad


def written(path: Path, *stamps: float, topic: str = "a") -> Path:
    lines = [json.dumps({"tst": at, "topic": topic, "payload": str(at)}) for at in stamps]
    path.write_text("\n".join(lines) + "\n")
    return path


@pytest.mark.parametrize(
    "tst",
    [
        "2026-02-01T03:10:00+09:00", "2026-01-31T18:10:00Z", AT,
        "2026-02-01T03:10:00.000000Z+0900", "2026-02-01T03:10:00Z+0900",
        "2026-01-31T13:10:00Z-0500",
    ],
)  # fmt: skip
def test_a_moment_may_be_written_as_either_tool_does(tst: object) -> None:
    """mosquitto_sub's own form has a Z that means nothing."""
    assert read_line(line(tst=tst)).at == AT


@pytest.mark.parametrize(
    ("payload", "told"),
    [("10.46", b"10.46"), (10.46, b"10.46"), ({"value": 1}, b'{"value": 1}'), ("", b""),
     (None, b""), ("\u6ce1", "\u6ce1".encode()), ([1, 2], b"[1, 2]"), (True, b"true")],
)  # fmt: skip
def test_a_payload_is_its_text_or_its_json(payload: object, told: bytes) -> None:
    assert read_line(line(payload=payload)).payload == told


@pytest.mark.parametrize(("retain", "kept"), [(0, False), (1, True), (True, True), (None, False)])
def test_whether_it_was_kept_may_be_written_either_way(retain: object, kept: bool) -> None:
    assert read_line(line(retain=retain, qos=1)).retained is kept


@pytest.mark.parametrize(
    "bad",
    [b"", b"warm", b"[]", b"{}", line(tst="yesterday"), line(tst=1e13), line(topic=5),
     line(retain="yes"), b'{"tst": 1, "topic": "\xff"}', b'{"tst": NaN, "topic": "a"}'],
)  # fmt: skip
def test_a_line_that_is_no_message_says_so(bad: bytes) -> None:
    with pytest.raises(ValueError, match=r"."):
        read_line(bad)


@given(st.binary(max_size=200) | st.text(max_size=50).map(str.encode))
def test_whatever_a_line_holds_it_is_read_or_refused(noise: bytes) -> None:
    with suppress(ValueError):
        assert isinstance(read_line(noise), Recorded)


@given(
    st.recursive(
        st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=9),
        lambda inner: st.lists(inner) | st.dictionaries(st.text(max_size=4), inner),
        max_leaves=5,
    ),
    st.none() | st.integers() | st.floats() | st.text(max_size=30),
)
def test_whatever_json_it_holds_it_is_read_or_refused(payload: object, tst: object) -> None:
    with suppress(ValueError):
        assert isinstance(read_line(line(payload=payload, tst=tst)), Recorded)


def test_a_bad_line_is_told_with_its_place_and_stops_nothing(tmp_path: Path) -> None:
    path = tmp_path / "night.jsonl"
    path.write_bytes(line(payload="1") + b"\nnoise\n\n" + line(payload="2") + b"\n")
    messages, bad = read(path)
    assert [message.payload for message in messages] == [b"1", b"2"]
    assert [fault.where for fault in bad] == [f"{path}:2"] and "no message line" in bad[0].reason


def test_a_line_earlier_than_the_clock_is_taken_at_the_clock(tmp_path: Path) -> None:
    messages, _ = read(written(tmp_path / "a.jsonl", 100.0, 90.0, 110.0))
    assert [(m.at, m.payload) for m in messages] == [(100.0, b"100.0"), (100.0, b"90.0"),
                                                     (110.0, b"110.0")]  # fmt: skip


def test_several_recordings_merge_by_time_and_stably(tmp_path: Path) -> None:
    """Of one moment, the recording named first comes first."""
    one = written(tmp_path / "1.jsonl", 100.0, 120.0, 120.0, topic="one")
    two = written(tmp_path / "2.jsonl", 90.0, 120.0, 130.0, topic="two")
    told = [(message.at, message.topic) for message in read(one, two)[0]]
    assert told == [(90.0, "two"), (100.0, "one"), (120.0, "one"), (120.0, "one"), (120.0, "two"),
                    (130.0, "two")]  # fmt: skip


def test_a_packed_recording_is_read_as_it_is(tmp_path: Path) -> None:
    plain = written(tmp_path / "a.jsonl", 100.0, 110.0)
    packed = tmp_path / "a.jsonl.gz"
    packed.write_bytes(gzip.compress(plain.read_bytes()))
    assert read(packed) == read(plain)
    assert size_of([plain, packed]) == plain.stat().st_size


def test_a_recording_that_is_not_there_is_named(tmp_path: Path) -> None:
    with pytest.raises(RecordingError, match=r"gone\.jsonl: cannot be read .*JSON Lines"):
        read(tmp_path / "gone.jsonl")


def test_a_packed_recording_that_breaks_off_is_named(tmp_path: Path) -> None:
    packed = tmp_path / "a.jsonl.gz"
    whole = gzip.compress(b"\n".join(line(payload=str(n)) for n in range(2000)))
    for broken in (whole[: len(whole) // 2], b"no gzip at all",
                   whole[:200] + b"\x00" * 100 + whole[300:]):  # fmt: skip
        packed.write_bytes(broken)
        with pytest.raises(RecordingError, match=r"a\.jsonl\.gz: breaks off .*copy it anew"):
            read(packed)


def test_every_byte_is_counted_for_the_progress_bar(tmp_path: Path) -> None:
    path = written(tmp_path / "a.jsonl", *map(float, range(50)))
    passed: list[int] = []
    assert len(list(merged([path], lambda bad: None, passed.append))) == 50
    assert sum(passed) == size_of([path])
