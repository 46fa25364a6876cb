"""Recordings: JSON Lines, one MQTT message a line, as `mosquitto_sub -F %j` or `%J` prints them.

A line carries `tst`, `topic`, `payload` and may carry `qos` and `retain`. Several recordings merge
by `tst`, stably; a line that is earlier than one before it in its file is taken at that one's time.

A recording may come from anybody: it is read piece by piece, a line may be so long and no longer,
and a packed one that swells beyond measure is not read to its end. The lines of a piece that are
all of the usual form are read at once; where one is not, each is read by itself.
"""

from __future__ import annotations

import gzip
import heapq
import io
import math
import zlib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import NamedTuple

import msgspec

from kuraban.core.units import parse_time
from kuraban.errors import RecordingError

HOUSE_TOPIC = "watch/house"
"""Under the root: a house as the watch knew it, in a recording taken from a journal."""
LONGEST = 2_000_000
"""Bytes of one line; the longest message that is heard comes to less, however it is spelled."""
PIECE = 65_536
"""Bytes that are read at once."""
RATIO, SMALL = 200, 50_000_000
"""How many times its size a packed recording may unpack to, once that is more than so many bytes.
Readings pack to a tenth."""


class Recorded(msgspec.Struct, frozen=True, gc=False):
    """One message of a recording."""

    at: float
    topic: str
    payload: bytes
    retained: bool


class BadLine(NamedTuple):
    where: str
    reason: str


class BadLines:
    """The first bad lines of a recording, and how many there were."""

    SHOWN = 20

    def __init__(self) -> None:
        self.first: list[BadLine] = []
        self.count = 0

    def add(self, line: BadLine) -> None:
        self.count += 1
        if len(self.first) < self.SHOWN:
            self.first.append(line)


class _Line(msgspec.Struct, gc=False):
    tst: str | float
    topic: str
    payload: str = ""
    qos: int | None = None
    retain: int | bool | None = None


class _Other(_Line):
    """A line whose payload is no text: taken as it stands."""

    payload: msgspec.Raw = msgspec.Raw(b'""')  # type: ignore[assignment]


_decoder = msgspec.json.Decoder(_Line)
_line, _lines = _decoder.decode, _decoder.decode_lines
_other = msgspec.json.Decoder(_Other).decode
_text = msgspec.json.Decoder(str).decode


def _payload(raw: msgspec.Raw) -> bytes:
    """A text as its bytes; anything else as its JSON text, an absent payload as nothing."""
    text = bytes(raw)
    if text[:1] == b'"':
        return _text(text).encode()
    return b"" if text == b"null" else text


def _moment(tst: str | float) -> float:
    """`…Z+0900`, as one tool writes local times, has a Z that means nothing."""
    try:
        return parse_time(tst)
    except ValueError:
        if isinstance(tst, str) and ("Z+" in tst or "Z-" in tst):
            return parse_time(tst.replace("Z", "", 1))
        raise


def read_line(line: bytes) -> Recorded:
    """One line of a recording; ValueError says what is wrong with it."""
    if len(line) >= LONGEST:
        raise ValueError(f"is longer than {LONGEST // 1_000_000} MB")
    try:
        told = _line(line)
    except msgspec.ValidationError:
        return _read_other(line)
    except (msgspec.MsgspecError, UnicodeError) as error:
        raise ValueError(f"no message line ({error})") from None
    return _recorded(told)


def _recorded(told: _Line) -> Recorded:
    try:
        payload = told.payload.encode()
    except UnicodeError as error:
        raise ValueError(f"no message line ({error})") from None
    return Recorded(_moment(told.tst), told.topic, payload, bool(told.retain))


def _read_other(line: bytes) -> Recorded:
    try:
        told = _other(line)
        payload = _payload(told.payload)
    except (msgspec.MsgspecError, UnicodeError) as error:
        raise ValueError(f"no message line ({error})") from None
    return Recorded(_moment(told.tst), told.topic, payload, bool(told.retain))


def _open(path: Path) -> io.BufferedReader:
    try:
        return gzip.open(path, "rb") if path.suffix == ".gz" else path.open("rb")  # type: ignore[return-value]
    except OSError as error:
        raise RecordingError(
            f"{path}: cannot be read ({error.strerror}); give a recording of JSON Lines"
        ) from None


def _messages(
    path: Path, bad: Callable[[BadLine], None], passed: Callable[[int], None]
) -> Iterator[Recorded]:
    clock, number = 0.0, 0
    with _open(path) as file:
        try:
            for piece in _pieces(path, file, passed):
                for line in _usual(piece) or io.BytesIO(piece):
                    number += 1
                    try:
                        if isinstance(line, _Line):
                            message = _recorded(line)
                        elif line.strip():
                            message = read_line(line)
                        else:
                            continue
                    except ValueError as error:
                        bad(BadLine(f"{path}:{number}", str(error)))
                        continue
                    if message.at < clock:
                        message = msgspec.structs.replace(message, at=clock)
                    clock = message.at
                    yield message
        except (OSError, EOFError, zlib.error) as error:
            raise RecordingError(f"{path}: breaks off ({error}); copy it anew") from None


def _pieces(path: Path, file: io.BufferedReader, passed: Callable[[int], None]) -> Iterator[bytes]:
    """Whole lines, many at once; of one that is too long the beginning, at the end of a piece."""
    most = max(RATIO * path.stat().st_size, SMALL) if path.suffix == ".gz" else math.inf
    told = 0

    def count(size: int) -> None:
        nonlocal told
        told += size
        passed(size)
        if told > most:
            wrong = f"unpacks to more than {RATIO} times its size"
            raise RecordingError(f"{path}: {wrong}; no recording does: unpack it by hand and look")

    while piece := file.read1(PIECE):
        if not piece.endswith(b"\n"):
            piece += file.readline(LONGEST)
        count(len(piece))
        yield piece
        rest = piece
        while rest and not rest.endswith(b"\n"):
            rest = file.readline(LONGEST)
            count(len(rest))


def _usual(piece: bytes) -> list[_Line] | None:
    """All lines of a piece where each is one message with a payload in text, else None.

    Where every line ends an object and the next begins one, no object goes on over a line's end;
    and where there are as many as lines, none holds two.
    """
    count = piece.count(b"\n")
    ends = piece.startswith(b"{") and piece.endswith(b"}\n") and len(piece) < LONGEST
    if not ends or piece.count(b"}\n{") != count - 1:
        return None
    try:
        found = _lines(piece)
    except (msgspec.MsgspecError, UnicodeError):
        return None
    return found if len(found) == count else None


def merged(
    paths: list[Path], bad: Callable[[BadLine], None], passed: Callable[[int], None]
) -> Iterator[Recorded]:
    """The messages of all recordings in the order of their times.

    `bad` is told of each line that is no message, `passed` of the bytes read. RecordingError for a
    file that cannot be read.
    """
    streams = [_messages(path, bad, passed) for path in paths]
    if len(streams) == 1:
        return streams[0]
    return heapq.merge(*streams, key=lambda message: message.at)


def size_of(paths: list[Path]) -> int:
    """Bytes as they will be passed, 0 where a packed file does not tell."""
    return sum(0 if path.suffix == ".gz" else path.stat().st_size for path in paths)
