"""What may lie in a kept graph, by name: nothing else is ever written, made or called.

Ours are the classes that the core and the trade define, but for errors and for the catalogue of
words, which every start reads anew. Of what a part was given to call, a wire, the name is kept and
never a function: the wires are these few, and each end of one is looked at when it is laid again.
"""

from __future__ import annotations

import sys
from collections.abc import Iterable
from enum import Enum
from functools import cache
from typing import Any

import msgspec

from kuraban.core.engine.conclusions import Conclusions
from kuraban.core.engine.engine import Engine
from kuraban.core.texts.messages import Words

ROOMS = ("kuraban.core.", "kuraban.trade.")
LIST, DICT, SET, FROZEN, DEQUE, DATE, ZONE, WORDS, WIRE = (
    "list", "dict", "set", "frozenset", "deque", "date", "zone", "words", "wire",
)  # fmt: skip
"""Shapes that are none of ours."""
PLAIN = frozenset({float, int, bool, type(None), str})
LETTERS = frozenset("bBhHiIqQfd")
"""Kinds of numbers that an array may hold; each is as long on every machine."""
WIRES: dict[str, tuple[type, str]] = {
    "conclusions": (Conclusions, "take"),
    "facts": (Engine, "record"),
}
"""A method that one part hands to another, by what goes through it."""

Shape = tuple[str, ...]
"""Name of a kind of thing, then the names of its values in their order."""


class NoGraph(ValueError):
    """A thing that cannot be kept, or data that no kept thing comes to."""


@cache
def classes() -> dict[str, type]:
    """By their full names."""
    found: dict[str, type] = {}
    for name, module in sorted(sys.modules.items()):
        if name.startswith(ROOMS):
            here = (one for one in list(vars(module).values()) if isinstance(one, type))
            found |= {name_of(one): one for one in here if one.__module__ == name and _ours(one)}
    return found


def _ours(one: type) -> bool:
    return one is not Words and not issubclass(one, BaseException)


def name_of(kind: type) -> str:
    return f"{kind.__module__}.{kind.__qualname__}"


def made_whole(kind: type) -> bool:
    """Whether a thing of that class never changes, and so must be made with all that it holds."""
    return issubclass(kind, (Enum, float, msgspec.Struct, tuple))


@cache
def slots_of(kind: type) -> tuple[str, ...]:
    """The names of its slots, those of its parents first."""
    every: Iterable[str] = (
        name for parent in reversed(kind.__mro__) for name in parent.__dict__.get("__slots__", ())
    )
    return tuple(dict.fromkeys(name for name in every if not name.startswith("__")))


def holds(kind: type, name: str) -> bool:
    """Whether a value may lie under that name: no method, and nothing of Python's own."""
    if not name.isidentifier() or name.startswith("__"):
        return False
    there: Any = getattr(kind, name, None)
    return name in slots_of(kind) or not (callable(there) or isinstance(there, property))


def wire_of(method: Any) -> str:
    """The name of the wire that a bound method is; NoGraph for any other."""
    for name, (kind, called) in WIRES.items():
        if type(method.__self__) is kind and method.__name__ == called:
            return name
    raise NoGraph(f"{method.__qualname__} is none of the wires that are kept")


def laid(name: Any, end: Any) -> Any:
    """That wire to the thing at its end."""
    kind, called = WIRES.get(name, (None, ""))
    if kind is None or type(end) is not kind:
        raise NoGraph(f"no wire '{name}' leads to a {type(end).__name__}")
    return getattr(end, called)
