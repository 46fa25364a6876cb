"""What the watch and the process of its pages say to each other.

The pages are what strangers can reach. So what comes from them is read by shape, as an entry of
the front door is, and nothing of theirs is ever unpickled by the watch.
"""

from __future__ import annotations

import dataclasses
import pickle
from pathlib import Path

import msgspec

from kuraban.clock import Clock
from kuraban.core.facts import Logged
from kuraban.core.views.snapshot import Snapshot
from kuraban.errors import MachineError
from kuraban.settings import Settings
from kuraban.store.rows import read_seconds


@dataclasses.dataclass(frozen=True, slots=True)
class Start:
    """What the pages need to begin; `key` signs what they hand out."""

    settings: Settings
    key: str
    history: Path
    clock: Clock

    def packed(self) -> bytes:
        return pickle.dumps(dataclasses.replace(self, settings=self.settings.portable()))

    @staticmethod
    def unpacked(packed: bytes) -> Start:
        start = pickle.loads(packed)
        assert isinstance(start, Start)
        return start


class Word(msgspec.Struct, frozen=True, omit_defaults=True):
    """One word from the pages: where they listen, why they cannot, or what somebody entered."""

    port: int | None = None
    wrong: str | None = None
    entry: Logged | None = None

    def packed(self) -> bytes:
        return msgspec.msgpack.encode(self, enc_hook=float)


def read_word(packed: bytes) -> Word:
    """Raises MachineError for what is no such word."""
    try:
        return _WORD.decode(packed)
    except (msgspec.MsgspecError, ValueError) as error:
        raise MachineError(f"pages: they said what cannot be read: {error}") from error


def pack_picture(snapshot: Snapshot) -> bytes:
    return msgspec.msgpack.encode(snapshot)


def read_picture(packed: bytes) -> Snapshot:
    return _PICTURE.decode(packed)


_WORD = msgspec.msgpack.Decoder(Word, dec_hook=read_seconds)
_PICTURE = msgspec.msgpack.Decoder(Snapshot)
