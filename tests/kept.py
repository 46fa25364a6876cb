"""Things of ours written as data and read again, as a checkpoint does it."""

from __future__ import annotations

import os
from io import BytesIO
from pathlib import Path
from typing import TypeVar

from kuraban.core.texts.messages import Words
from kuraban.runtime.checkpoint import graph_reader, graph_writer

Thing = TypeVar("Thing")
WORDS = Words({"en": {}})


def written(root: object) -> bytes:
    file = BytesIO()
    graph_writer.write(root, file)
    return file.getvalue()


def read(packed: bytes, words: Words = WORDS) -> object:
    return graph_reader.build(graph_reader.decode(packed), words)


def kept_and_read(thing: Thing, words: Words = WORDS) -> Thing:
    again = read(written(thing), words)
    assert type(again) is type(thing)
    return again


class Evil:
    """A pickle of it makes a folder when it is read."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def __reduce__(self) -> tuple[object, ...]:
        return os.mkdir, (str(self.folder),)
