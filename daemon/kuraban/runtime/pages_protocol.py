"""What the watch and the process of its pages say to each other.

The pages are what strangers can reach. So what comes from them is read by shape, as an entry of
the front door is. What the watch says is data as well: neither runs anything of the other's.
"""

from __future__ import annotations

from pathlib import Path

import msgspec

from kuraban.clock import Pace
from kuraban.core.facts import Logged
from kuraban.core.views.snapshot import Snapshot
from kuraban.errors import MachineError
from kuraban.settings import Settings
from kuraban.settings.handover import plain, special
from kuraban.store.rows import read_seconds


class Start(msgspec.Struct, frozen=True):
    """What the pages need to begin; `key` signs what they hand out."""

    settings: Settings
    key: str
    history: Path
    pace: Pace
    """Of the watch's clock."""

    def packed(self) -> bytes:
        return msgspec.msgpack.encode(self, enc_hook=plain)

    @staticmethod
    def unpacked(packed: bytes) -> Start:
        return msgspec.msgpack.decode(packed, type=Start, dec_hook=special)


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
