"""Settings for another process of ours, which need not know how a site file is read.

As data (MessagePack): whoever reads them runs nothing. Secrets are in them, so they go by a file in
memory or a pipe, and never to a disk.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Mapping
from pathlib import Path

import msgspec

from kuraban.settings.model import Settings


def pack(settings: object) -> bytes:
    return msgspec.msgpack.encode(settings, enc_hook=plain)


def unpack(packed: bytes) -> Settings:
    """Raises msgspec.ValidationError for what are no settings."""
    return msgspec.msgpack.decode(packed, type=Settings, dec_hook=special)


def become(program: str, settings: object) -> None:
    """Go on as that module of ours, the same process to whoever started it, given the number of an
    open file that lies in memory alone; returns where the system knows no such file."""
    if sys.platform == "linux":
        file = os.memfd_create("kuraban-settings", 0)
        with open(file, "wb", closefd=False) as stream:
            stream.write(pack(settings))
        os.lseek(file, 0, os.SEEK_SET)
        try:
            os.execv(sys.executable, (sys.executable, "-P", "-m", program, str(file)))
        except OSError:
            os.close(file)


def plain(value: object) -> object:
    """Of what MessagePack does not know: paths, and a view of a dictionary."""
    if isinstance(value, Path):
        return str(value)
    if isinstance(value, Mapping):
        return dict(value)
    raise TypeError(f"a {type(value).__name__} is no part of settings")


def special(kind: type, value: object) -> object:
    if kind is Path and isinstance(value, str):
        return Path(value)
    raise TypeError(f"{value!r} is no {kind.__name__}")
