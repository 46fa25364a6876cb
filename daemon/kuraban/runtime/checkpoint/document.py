"""The kept state as one document: what stands in words for every version, and what the code knows.

    {"kuraban": 1, "standing": {...}, "memory": {...}}

in MessagePack. `standing` is `kuraban.core.engine.durable_state`, which another version of the code
takes up as well; `memory` the whole engine as a graph (`graph_writer`), for the code that wrote it
and no other. Both are data: whoever reads a journal, also as root, runs nothing of what is in it.
"""

from __future__ import annotations

import logging
import sys
from functools import cache
from hashlib import blake2b
from mmap import ACCESS_READ, mmap
from pathlib import Path
from tempfile import TemporaryFile

import msgspec

import kuraban
from kuraban.core.engine.durable_state import Standing, pack, standing_of, unpack
from kuraban.core.engine.engine import Engine
from kuraban.core.texts.messages import Words
from kuraban.runtime.checkpoint import graph_reader, graph_writer
from kuraban.store.journal import Blob, Checkpoint

FORMAT = 1

log = logging.getLogger("kuraban")


class Document(msgspec.Struct):
    kuraban: int
    standing: msgspec.Raw
    memory: msgspec.Raw


@cache
def version() -> str:
    """Names the code that an engine's memory fits: ours below the journal, to the letter."""
    package, code = Path(kuraban.__file__).parent, blake2b(digest_size=8)
    for room in ("core", "trade"):
        for file in sorted((package / room).rglob("*.py")):
            code.update(file.read_bytes())
    return f"kuraban {kuraban.__version__} {code.hexdigest()} {sys.byteorder}-endian"


def freeze(engine: Engine) -> Checkpoint | None:
    """An engine as it is; None where it has no house yet, or cannot be kept.

    Some megabytes, written past the heap, which would keep so much room for ever.
    """
    if not engine.started:
        return None
    try:
        with TemporaryFile() as file:
            file.write(b"\x83")
            for part in ("kuraban", FORMAT, "standing"):
                file.write(msgspec.msgpack.encode(part))
            file.write(pack(standing_of(engine)))
            file.write(msgspec.msgpack.encode("memory"))
            graph_writer.write(engine, file)
            file.flush()
            return Checkpoint(version(), mmap(file.fileno(), 0, access=ACCESS_READ))
    except Exception:
        log.exception("the state of the watch cannot be kept; the next start will take longer")
        return None


def read(blob: Blob) -> Document:
    """Raises msgspec.MsgspecError or ValueError for what is no document of this form."""
    document = msgspec.msgpack.decode(blob, type=Document)
    if document.kuraban != FORMAT:
        raise ValueError(f"it is of form {document.kuraban}, and {FORMAT} is known")
    return document


def standing_in(document: Document) -> Standing:
    """Raises msgspec.MsgspecError or ValueError where nothing stands in it that is understood."""
    return unpack(document.standing)


def engine_in(document: Document, words: Words) -> Engine:
    """The engine that was kept, with the words of today.

    Raises ValueError, or whatever else it comes to, where the data are no such engine.
    """
    engine = graph_reader.build(graph_reader.decode(document.memory), words)
    if not isinstance(engine, Engine) or standing_of(engine) != standing_in(document):
        raise ValueError("what is remembered is not what stands")
    return engine
