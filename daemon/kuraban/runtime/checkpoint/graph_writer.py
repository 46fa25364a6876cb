"""Objects of ours as plain data: what the engine remembers, shared things and circles included.

A checkpoint must hold every habit that a detector has learned, each with whatever it shares with
others. Three ways were weighed. Pickle does it, and runs whatever whoever wrote it likes. A
structure beside each of the hundred classes says everything twice, and a value that somebody
forgets in one is a wrong alarm after a restart that no test of that class sees. So the graph is
walked as it lies, and only names, numbers and texts are written:

    {"pages": [[record, ...], ...], "shapes": [[name of the kind, names of its values...], ...]}

A record is one thing: `[shape, value, value, ...]`; record 0 is the root. A value is a number, a
text, a truth value or nil; `[n]` is the thing of record n; `[nil, ...]` is a tuple; the extension
type of a letter's code is an array of that letter's numbers, as bytes. What lies so fits the code
that wrote it and no other. What must outlive an update is `kuraban.core.engine.durable_state`.

It goes into a file page by page: in memory there is never more of it than a page.
"""

from __future__ import annotations

from array import array
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from datetime import date
from enum import Enum
from itertools import chain
from operator import attrgetter
from types import MethodType
from typing import IO, Any
from zoneinfo import ZoneInfo

import msgspec
from msgspec.msgpack import Ext

from kuraban.core.texts.messages import Words
from kuraban.runtime.checkpoint.kept_classes import (
    DATE,
    DEQUE,
    DICT,
    FROZEN,
    LIST,
    PLAIN,
    SET,
    WIRE,
    WORDS,
    ZONE,
    NoGraph,
    Shape,
    classes,
    made_whole,
    name_of,
    slots_of,
    wire_of,
)

A_PAGE = 32
"""Records. Those of probes lie together, and each has 14 hours of readings."""

Record = list[object]
Recorder = Callable[[Any], Record]
Parts = Callable[[Any], Iterable[Any]]


def write(root: object, file: IO[bytes]) -> None:
    """Add the graph of `root` to a seekable file, as one map of MessagePack.

    Raises NoGraph for what cannot be kept; the file then holds a part of it.
    """
    walk = _Walk()
    file.write(b"\x82" + _packed("pages"))
    head = file.tell()
    file.write(_array_head(0))
    count = 0
    for page in walk.pages(root):
        file.write(_packed(page))
        count += 1
    end = file.tell()
    file.seek(head)
    file.write(_array_head(count))
    file.seek(end)
    file.write(_packed("shapes") + _packed(walk.shapes))


def _array_head(count: int) -> bytes:
    return b"\xdd" + count.to_bytes(4, "big")


class _Walk:
    """Things get their numbers as they are met, and are written in that order."""

    def __init__(self) -> None:
        self.shapes: list[Shape] = []
        self._shape_numbers: dict[tuple[type, tuple[str, ...]], int] = {}
        self._things: list[object] = []
        self._numbers: dict[int, int] = {}

    def pages(self, root: object) -> Iterator[list[Record]]:
        recorders: dict[type, Recorder] = {}
        self._value(root)
        page: list[Record] = []
        for thing in self._things:
            kind = type(thing)
            recorder = recorders.get(kind)
            if recorder is None:
                recorder = recorders[kind] = self._recorder(kind)
            page.append(recorder(thing))
            if len(page) == A_PAGE:
                yield page
                page = []
        yield page

    def _value(self, value: Any) -> object:
        kind = type(value)
        if kind in PLAIN:
            return value
        if kind is tuple:
            return [None, *self._values(value)]
        if kind is array:
            return Ext(ord(value.typecode), memoryview(value))
        number = self._numbers.get(id(value))
        if number is None:
            number = self._numbers[id(value)] = len(self._things)
            self._things.append(value)
        return (number,)

    def _values(self, values: Iterable[Any]) -> Record:
        value = self._value
        return [one if type(one) in PLAIN else value(one) for one in values]

    def _shape(self, kind: type, names: tuple[str, ...], called: str | None = None) -> int:
        found = self._shape_numbers.get((kind, names))
        if found is None:
            name = name_of(kind) if called is None else called
            if called is None and classes().get(name) is not kind:
                raise NoGraph(f"a {name} cannot be kept: it is nothing of the core's own")
            found = self._shape_numbers[kind, names] = len(self.shapes)
            self.shapes.append((name, *names))
        return found

    def _recorder(self, kind: type) -> Recorder:
        """What makes records of the things of one class."""
        if kind in _NOT_OURS:
            name, parts = _NOT_OURS[kind]
            return self._whole(self._shape(kind, (), name), parts)
        if not made_whole(kind):
            return self._instance(kind)
        if issubclass(kind, (Enum, float)):
            parts = _value_of if issubclass(kind, Enum) else _number_of
            return self._whole(self._shape(kind, ("value",)), parts)
        if issubclass(kind, msgspec.Struct):
            fields = kind.__struct_fields__
            return self._whole(self._shape(kind, fields), _getter(fields))
        names: tuple[str, ...] = getattr(kind, "_fields", ())
        return self._whole(self._shape(kind, names), iter)

    def _whole(self, shape: int, parts: Parts) -> Recorder:
        values = self._values
        return lambda thing: [shape, *values(parts(thing))]

    def _instance(self, kind: type) -> Recorder:
        """Slots and whatever else it holds; a slot that was never filled is left out."""
        slots = slots_of(kind)
        getter, values, shape = _getter(slots), self._values, self._shape

        def record(thing: object) -> Record:
            own = getattr(thing, "__dict__", None) or {}
            try:
                filled, held = slots, getter(thing)
            except AttributeError:
                filled = tuple(name for name in slots if hasattr(thing, name))
                held = _getter(filled)(thing)
            names = (*filled, *own) if own else filled
            return [shape(kind, names), *values(held), *values(own.values())]

        return record


def _getter(names: tuple[str, ...]) -> Parts:
    if len(names) > 1:
        return attrgetter(*names)
    return lambda thing: [getattr(thing, name) for name in names]


def _value_of(one: Any) -> Iterable[Any]:
    return (one.value,)


def _number_of(one: float) -> Iterable[Any]:
    return (float(one),)


_NOT_OURS: dict[type, tuple[str, Parts]] = {
    list: (LIST, iter),
    dict: (DICT, lambda one: chain.from_iterable(one.items())),
    set: (SET, lambda one: sorted(one, key=repr)),
    frozenset: (FROZEN, lambda one: sorted(one, key=repr)),
    deque: (DEQUE, lambda one: (one.maxlen, *one)),
    date: (DATE, lambda one: (one.isoformat(),)),
    ZoneInfo: (ZONE, lambda one: (one.key,)),
    Words: (WORDS, lambda one: ()),
    MethodType: (WIRE, lambda one: (wire_of(one), one.__self__)),
}
_packed = msgspec.msgpack.Encoder().encode
