"""Recordings read, unpacked and decoded in a process of their own, ahead of the one that judges.

A reading crosses over as the fact that the front door makes of it, which rests on the message and
the house alone; every other message crosses as it is. So the judging takes the very same, in the
same order, as if it had read for itself.
"""

from __future__ import annotations

import os
import signal
from collections.abc import Callable, Generator, Iterator
from contextlib import closing, suppress
from itertools import islice
from multiprocessing import get_context
from multiprocessing.connection import Connection
from pathlib import Path

import msgspec

from kuraban.core.facts import Reading
from kuraban.core.intake.wire import Wire
from kuraban.core.site import House, from_document, to_document
from kuraban.errors import RecordingError
from kuraban.recording import HOUSE_TOPIC, BadLine, Recorded, merged

LITTLE = 20_000_000
"""Bytes up to which a process of its own takes longer to begin than to read them."""
PACKED = 10
"""So many times its size a packed recording unpacks to, about."""
A_LOAD = 2000
"""Messages that cross over at once."""


class Load(msgspec.Struct, array_like=True):
    """What crosses over at once: in `others` each message with the number of readings before it."""

    readings: list[Reading] = []
    others: list[tuple[int, Recorded]] = []
    passed: int = 0
    bad: list[BadLine] = []
    failed: str | None = None
    """What is wrong with a recording, where it cannot be read on."""


def worth_it(paths: list[Path]) -> bool:
    """Whether there is enough to read, and a core to read it on."""
    sizes = (one.stat().st_size * (PACKED if one.suffix == ".gz" else 1)
             for one in paths if one.is_file())  # fmt: skip
    return (os.cpu_count() or 1) > 1 and sum(sizes) >= LITTLE


def house_told(message: Recorded, root: str) -> House | None:
    """The house as the watch knew it, where a message tells one."""
    if message.topic != f"{root}/{HOUSE_TOPIC}":
        return None
    try:
        return from_document(message.payload.decode())
    except (msgspec.MsgspecError, UnicodeDecodeError):
        return None


def read_ahead(
    house: House, root: str, paths: list[Path],
    bad: Callable[[BadLine], None], passed: Callable[[int], None],
) -> Generator[Recorded | Reading, None, None]:  # fmt: skip
    """The messages of all recordings in the order of their times, as `merged` gives them, readings
    as facts. Whoever stops asking ends the process. RecordingError as `merged` raises it."""
    context = get_context("spawn")
    mine, theirs = context.Pipe(duplex=False)
    reader = context.Process(target=_read, args=(theirs, to_document(house), root, paths))
    reader.start()
    theirs.close()
    try:
        with closing(mine), suppress(EOFError):
            while True:
                load = _load(mine.recv_bytes())
                passed(load.passed)
                for line in load.bad:
                    bad(line)
                yield from _in_order(load)
                if load.failed is not None:
                    raise RecordingError(load.failed)
    finally:
        reader.terminate()
        reader.join()


_load = msgspec.msgpack.Decoder(Load).decode


def _in_order(load: Load) -> Iterator[Recorded | Reading]:
    begin = 0
    for number, message in load.others:
        yield from load.readings[begin:number]
        yield message
        begin = number
    yield from load.readings[begin:] if begin else load.readings


# In the process that reads.


def _read(out: Connection, document: str, root: str, paths: list[Path]) -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    with suppress(BrokenPipeError):
        for load in loads(from_document(document), root, paths):
            out.send_bytes(load)


def loads(house: House, root: str, paths: list[Path]) -> Iterator[bytes]:
    """All that crosses over, encoded."""
    wire, encode = Wire(house, root, wall=False), msgspec.msgpack.Encoder().encode
    load, first = Load(), True

    def passed(count: int) -> None:
        load.passed += count

    messages = merged(paths, lambda line: load.bad.append(line), passed)
    while load.failed is None:
        load = Load()
        try:
            for message in islice(messages, A_LOAD):
                told = house_told(message, root)
                wire = wire if told is None else Wire(told, root, wall=False)
                own = first or message.topic.startswith(f"{root}/watch/")
                reading = None if own else _reading(wire, message)
                first = False
                if reading is None:
                    load.others.append((len(load.readings), message))
                else:
                    load.readings.append(reading)
        except RecordingError as error:
            load.failed = str(error)
        if load == Load():
            return
        yield encode(load)


def _reading(wire: Wire, message: Recorded) -> Reading | None:
    """The one reading that a message is, if it is one."""
    if not wire.probes_of(message.topic):
        return None
    found = wire.read(message.topic, message.payload, message.at, message.retained)
    only = found[0] if len(found) == 1 else None
    return only if isinstance(only, Reading) else None
