"""What a decoder finds wrong with an entry, said so that a brewer can put it right."""

from __future__ import annotations

import re
from collections.abc import Mapping

import msgspec

from kuraban.core.entries import BY_KIND
from kuraban.core.intake.payload import nearest, show

_PLACE = re.compile(r"(.*?)(?: - at `(?:key` in `)?\$([^`]*)`)?", re.DOTALL)
_GOT = re.compile(r"Expected `([^`]*)`, got `([^`]*)`")
_BOUND = re.compile(r"Expected `\w+` (<=|>=|<|>) (\S+)")
_LENGTH = re.compile(r"Expected `(\w+)` of length (?:(<=|>=) )?(\d+).*")
_MISSING = re.compile(r"Object missing required field `([^`]*)`")
_CHOICE = re.compile(r"Invalid enum value .*", re.DOTALL)

_WANTED = {"float": "the number", "str": "a text", "array": "a list", "object": "an object"}
_FOUND = {
    "str": "a text", "int": "a number", "float": "a number", "bool": "true or false",
    "null": "null", "array": "a list", "object": "an object",
}  # fmt: skip
_BOUNDS = {"<=": "at most", ">=": "at least", "<": "less than", ">": "more than"}

_EXAMPLES = {
    "batch": '"batch": "No. 12"', "course": 'the id of a course', "stage": "the id of a stage",
    "for": '"for": "2h"', "celsius": '"celsius": 10.5', "more": '"more": 0.5',
    "by": '"by": "2026-02-01T06:00:00+09:00"', "points": '"points": [[time, °C], ...]',
    "to": "the id of a place, for split a list of them", "into": "the id of a place",
    "what": "what goes in", "cooler": "the id of a cooler", "condition": '"condition": "warm"',
    "alarm": '"alarm": "tank-3/warm"', "was": '"was": "right", "needless" or "late"',
    "of": "the id of the old entry", "text": '"text": "foam is low"',
    "from": "the id of a person", "day": '"day": "2026-02-01"',
}  # fmt: skip
_AIM_BY = (
    'by is the time at which the aim is reached, such as "2026-02-01T06:00:00+09:00"; '
    "name the person in who"
)


def plainly(kind: str, message: str, fields: Mapping[str, object]) -> str:
    """The decoder's message about an entry of this kind as one plain sentence."""
    found = _PLACE.fullmatch(message)
    wrong, path = (found[1], found[2] or "") if found is not None else (message, "")
    name = path.lstrip(".") or kind
    if kind == "aim" and (name == "by" or wrong == "Object missing required field `by`"):
        return _AIM_BY
    if missing := _MISSING.fullmatch(wrong):
        return f"{kind} needs {missing[1]}: {_EXAMPLES.get(missing[1], 'send it too')}"
    if got := _GOT.fullmatch(wrong):
        wanted = _WANTED.get(got[1].split(" ")[0], "something else")
        return f"{name} is {_FOUND.get(got[2], 'something else')}; send {wanted}"
    if bound := _BOUND.fullmatch(wrong):
        return f"{name} is too {_side(bound[1])}; {_BOUNDS[bound[1]]} {float(bound[2]):g} is right"
    if length := _LENGTH.fullmatch(wrong):
        return f"{name} has the wrong length; {_length(*length.groups())} is right"
    if _CHOICE.fullmatch(wrong):
        told = str(fields.get(name, ""))
        return f"{name} cannot be {show(told)}; there are {nearest(told, choices(kind, name), 20)}"
    if name == "day" and "matching regex" in wrong:
        return 'day is no day; write one such as "2026-02-01"'
    if "matching regex" in wrong:
        return f"{name} is no id; ids are small letters, digits and hyphens, as in tank-3"
    return f"{name}: {wrong}"


def _side(sign: str) -> str:
    return "great" if sign.startswith("<") else "small"


def _length(kind: str, sign: str | None, size: str) -> str:
    unit = "characters" if kind == "str" else "members"
    if sign is None:
        return f"{size} {unit}"
    return f"{_BOUNDS[sign]} {size} {unit[:-1] if size == '1' else unit}"


def choices(kind: str, field: str) -> tuple[str, ...]:
    """The words that a field of an entry can be; empty where it is free."""
    for known in msgspec.inspect.type_info(BY_KIND[kind]).fields:  # type: ignore[attr-defined]
        if known.encode_name == field and isinstance(known.type, msgspec.inspect.LiteralType):
            return tuple(str(value) for value in known.type.values)
    return ()
