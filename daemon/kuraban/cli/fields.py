"""The fields of an entry as people type them, turned into what goes out as JSON."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import tzinfo
from typing import Any, get_args, get_origin

import msgspec

from kuraban.cli.common import wrong
from kuraban.cli.moments import ahead, moment
from kuraban.core import entries
from kuraban.core.alarm_conditions import CONDITIONS
from kuraban.core.entries import BY_KIND, KINDS
from kuraban.core.intake.typed_figures import Either, figure, span
from kuraban.core.site import House
from kuraban.core.units import show_duration, show_time

__all__ = ["KINDS", "offers", "read"]

TRUTHS = {"true": True, "yes": True, "false": False, "no": False}
AHEAD = frozenset({"by"})
"""Times that lie ahead, where "06:00" is the next and not the last."""


def read(kind: str, typed: list[str], zone: tzinfo, at: float) -> dict[str, object]:
    """The members that an entry gets from `field=value` words and bare values.

    ConfigurationError for an unknown field or a value that cannot be read; what the entry itself
    needs is left to its door.
    """
    if kind not in BY_KIND:
        return {}
    known = _types(kind)
    found: dict[str, object] = {}
    for name, value in _named(kind, typed, list(known)):
        if name not in known and kind != "amend":
            right = f"{kind} has {', '.join(known) or 'no fields'}"
            raise wrong("command line", name, f"{kind} has no field {name}", right)
        found[name] = _value(name, value, known.get(name, _anywhere(name)), zone, at)
    return found


def _named(kind: str, typed: list[str], free: list[str]) -> Iterator[tuple[str, str]]:
    """Field and value of every word; bare values fill the fields in their order."""
    bare = []
    for word in typed:
        name, equals, value = word.partition("=")
        if equals and name.replace("_", "").isalnum():
            if name in free:
                free.remove(name)
            yield name, value
        else:
            bare.append(word)
    if len(bare) > 1 and len(free) == 1:
        bare = [" ".join(bare)]
    for number, value in enumerate(bare):
        if number >= len(free):
            right = "write field=value" + (f", such as {free[0]}=…" if free else "")
            raise wrong("command line", kind, f'"{value}" belongs to no field of it', right)
        yield free[number], value


def _types(kind: str) -> dict[str, Any]:
    """The fields of an entry and what they hold, required ones first."""
    shape = BY_KIND[kind]
    hints = {field.encode_name: field.type for field in msgspec.structs.fields(shape)}
    return {name: held for name, held in hints.items() if name != "fields"}


def _anywhere(name: str) -> Any:
    """What a field of this name holds in any entry: an amendment may name each."""
    for kind in KINDS:
        if kind != "amend" and name in _types(kind):
            return _types(kind)[name]
    return str


def _holds(held: Any, wanted: type) -> bool:
    """Whether a field can hold this, at its top or within an alternative or a list."""
    return wanted in (held, get_origin(held)) or any(
        _holds(part, wanted) for part in get_args(held)
    )


def _value(name: str, text: str, held: Any, zone: tzinfo, at: float) -> object:
    if text[:1] in ("[", "{"):
        try:
            return msgspec.json.decode(text)
        except msgspec.DecodeError:
            return text
    if _holds(held, tuple):
        return [part.strip() for part in text.split(",")]
    if _holds(held, entries.Moment):
        read_time = ahead if name in AHEAD else moment
        return show_time(read_time(text, name, zone, at), zone)
    if _holds(held, bool):
        return TRUTHS.get(text.lower(), text)
    if _holds(held, entries.Duration):
        return _duration(name, text)
    return _number(name, text) if _holds(held, float) else text


def _number(name: str, text: str) -> float | str:
    """What is none at all is left to the entry's door."""
    try:
        return figure(text)
    except Either as error:
        raise wrong("command line", name, *str(error).split("; ", 1)) from None
    except ValueError:
        return text


def _duration(name: str, text: str) -> str:
    """As it goes over the wire: "12 hours" is "12h" there."""
    try:
        return show_duration(span(text))
    except ValueError as error:
        raise wrong("command line", name, *str(error).split("; ", 1)) from None


def offers(kind: str, house: House | None) -> list[str]:
    """Words that a shell may complete after the name of an entry."""
    if kind not in BY_KIND:
        return []
    words: list[str] = []
    for name, held in _types(kind).items():
        choices = _choices(name, held, house)
        if kind == "duty-swap" and house is not None and name in ("from", "to"):
            choices = list(house.person)
        words += [f"{name}={choice}" for choice in choices] or [f"{name}="]
    return words


def _choices(name: str, held: Any, house: House | None) -> list[str]:
    if name == "condition":
        return list(CONDITIONS)
    if house is not None and name == "course":
        return list(house.course)
    if house is not None and name == "cooler":
        return list(house.cooler)
    if house is not None and name in ("to", "into"):
        return [place.id for place in house.places if place.brews]
    if house is not None and name == "stage":
        return list(dict.fromkeys(s.id for course in house.courses for s in course.stages))
    if held is bool:
        return ["true"]
    return [str(choice) for choice in _literals(held)]


def _literals(held: Any) -> Iterator[object]:
    for part in get_args(held):
        if isinstance(part, str):
            yield part
        else:
            yield from _literals(part)
