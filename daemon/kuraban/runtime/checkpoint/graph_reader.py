"""From plain data to the same objects again (`kuraban.runtime.checkpoint.graph_writer`).

Whoever can write the journal can write any data. So nothing of it is run: only what is on the list
is made, empty where it can be filled and else as a tuple or structure of its values, which no class
of ours hooks into; a value goes only where a value may lie; a name is looked up in tables and never
imported. What does not come to a graph raises.
"""

from __future__ import annotations

from array import array
from collections import deque
from collections.abc import Iterator
from datetime import date
from itertools import chain
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

import msgspec

from kuraban.core.texts.messages import Words
from kuraban.runtime.checkpoint.kept_classes import (
    DATE,
    DEQUE,
    DICT,
    FROZEN,
    LETTERS,
    LIST,
    PLAIN,
    SET,
    WIRE,
    WORDS,
    ZONE,
    NoGraph,
    Shape,
    classes,
    holds,
    laid,
    made_whole,
)

DEEPEST = 60
"""Things that are made whole, one within the other."""
OPEN = frozenset({LIST, DICT, SET, DEQUE})
WHOLE = frozenset({FROZEN, DATE, ZONE, WORDS, WIRE})


class Graph(msgspec.Struct, forbid_unknown_fields=True):
    """The data of a graph, its pages as they lie: in memory there is never more than one of them
    beside the things themselves."""

    pages: list[msgspec.Raw]
    shapes: list[Shape]


def decode(packed: bytes | memoryview | msgspec.Raw) -> Graph:
    """Raises msgspec.MsgspecError, ValueError or RecursionError for what is none."""
    return msgspec.msgpack.decode(packed, type=Graph)


def build(graph: Graph, words: Words) -> object:
    """The root, with `words` where the catalogue was.

    Raises NoGraph, or whatever else it comes to that the data are none; nothing of them is run.
    """
    return _Building(graph, words).root()


def _array(code: int, data: memoryview) -> array[Any]:
    letter = chr(code) if code > 0 else ""
    if letter not in LETTERS:
        raise NoGraph(f"no array holds numbers of the kind {code}")
    found = array(letter)
    found.frombytes(data)
    return found


class _Kind(NamedTuple):
    """What a shape says: a class of ours, or one of those that are nobody's."""

    name: str
    fields: tuple[str, ...]
    made: type | None
    open: bool
    """It is made empty and filled later, so that a circle can close."""


def _kind(shape: Shape) -> _Kind:
    name, *fields = shape
    if name in OPEN or name in WHOLE:
        return _Kind(name, (), None, name in OPEN)
    made = classes().get(name)
    if made is None:
        raise NoGraph(f"'{name}' is nothing that is kept")
    kind = _Kind(name, tuple(fields), made, not made_whole(made))
    strange = [field for field in fields if kind.open and not holds(made, field)]
    if strange:
        raise NoGraph(f"a {name} holds no '{strange[0]}'")
    return kind


_NOT_YET = object()


class _Building:
    """First every thing that can change, empty; then their values. The others are made on the way,
    once all that they hold is there."""

    def __init__(self, graph: Graph, words: Words) -> None:
        self._words = words
        self._kinds = [_kind(shape) for shape in graph.shapes]
        self._pages = graph.pages
        self._things: list[Any] = []
        self._whole: dict[int, list[Any]] = {}
        """The records of what is made on the way."""
        self._texts: dict[str, str] = {}
        self._depth = 0

    def root(self) -> object:
        kinds, things = self._kinds, self._things
        for number, record in enumerate(self._records()):
            kind = kinds[record[0]]
            things.append(_empty(kind, record) if kind.open else _NOT_YET)
            if not kind.open:
                self._whole[number] = record
        for thing, record in zip(things, self._records(), strict=True):
            kind = kinds[record[0]]
            if kind.open:
                _fill(kind, thing, self._values(record[1:]))
        return self._thing(0)

    def _records(self) -> Iterator[list[Any]]:
        return chain.from_iterable(map(_PAGE.decode, self._pages))

    def _values(self, values: list[Any]) -> list[Any]:
        value = self._value
        return [one if type(one) in _AS_IT_IS else value(one) for one in values]

    def _value(self, value: Any) -> Any:
        kind = type(value)
        if kind is str:
            return self._texts.setdefault(value, value)
        if kind is not list or not value:
            raise NoGraph(f"a {kind.__name__} is no value")
        if value[0] is None:
            return tuple(self._values(value[1:]))
        (number,) = value
        if type(number) is not int or number < 0:
            raise NoGraph(f"'{number}' is no number of a thing")
        found = self._things[number]
        return self._thing(number) if found is _NOT_YET else found

    def _thing(self, number: int) -> Any:
        if self._things[number] is _NOT_YET:
            self._depth += 1
            if self._depth > DEEPEST:
                raise NoGraph(f"more than {DEEPEST} things lie one within the other")
            shape, *values = self._whole[number]
            self._things[number] = self._made(self._kinds[shape], self._values(values))
            self._depth -= 1
        return self._things[number]

    def _made(self, kind: _Kind, values: list[Any]) -> Any:
        if kind.name == WORDS:
            return self._words
        if kind.name == ZONE:
            return ZoneInfo(*values)
        if kind.name == DATE:
            return date.fromisoformat(*values)
        if kind.name == FROZEN:
            return frozenset(values)
        if kind.name == WIRE:
            return laid(*values)
        assert kind.made is not None
        if issubclass(kind.made, msgspec.Struct):
            return kind.made(**dict(zip(kind.fields, values, strict=True)))
        return kind.made(*values)


def _empty(kind: _Kind, record: list[Any]) -> Any:
    if kind.made is not None:
        made: Any = kind.made
        return made.__new__(made)
    if kind.name == DEQUE:
        return deque(maxlen=record[1])
    return {LIST: list, DICT: dict, SET: set}[kind.name]()


def _fill(kind: _Kind, thing: Any, values: list[Any]) -> None:
    if kind.made is not None:
        for name, value in zip(kind.fields, values, strict=True):
            object.__setattr__(thing, name, value)
    elif kind.name == DICT:
        thing.update(zip(values[::2], values[1::2], strict=True))
    elif kind.name == DEQUE:
        thing.extend(values[1:])
    else:
        (thing.update if kind.name == SET else thing.extend)(values)


_PAGE = msgspec.msgpack.Decoder(list[list[Any]], ext_hook=_array)
_AS_IT_IS = (PLAIN - {str}) | {array}
