"""The door for what people do: entries from the broker, the pages, commands and buttons alike.

An entry is an object of foreign making. Here it gets its id, its time and its person, is held
against the house (is there such a place, cooler, course?), and becomes `Logged`, or a refusal
whose reason names what would be right. What depends on the running batch, such as whether a
stage is one of its course, is for those who know the batch.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from hashlib import blake2b
from math import isfinite

import msgspec

from kuraban.core.entries import KINDS, Entry, read_entry
from kuraban.core.facts import Logged, Refusal
from kuraban.core.intake.decode_errors import plainly
from kuraban.core.intake.entry_times import carried
from kuraban.core.intake.entry_validation import check_entry, check_subject
from kuraban.core.intake.payload import HEAD, Twice, kind_word, nearest, printable, safe, show
from kuraban.core.site import House
from kuraban.core.timescale import Timescale
from kuraban.core.units import AHEAD, BOARD_EPOCH, parse_time

_ENVELOPE = frozenset({"entry", "id", "at", "by", "who"})
_LONGEST = 200


def entry_from(
    fields: object, subject: str, house: House, received: float, way: str, by: str | None = None,
    *, wall: bool = True,
) -> Logged | Refusal:  # fmt: skip
    """The entry that somebody made about a subject, or why it cannot be one; never raises.

    `by` is the person where the way itself knows (a signed-in page); it stands before whatever
    the entry says of itself. Times in it are the wall clock's, but for `wall` false.
    """
    try:
        zone = house.zone
        scale = zone if wall and isinstance(zone, Timescale) else None
        return _logged(fields, subject, house, received, way, by, scale)
    except (ValueError, TypeError, OverflowError, RecursionError) as wrong:
        reason = safe(str(wrong), 400) or "cannot be read"
        return Refusal(f"log/{safe(subject)}", received, reason, _spell(fields)[:HEAD])


def _logged(
    fields: object, subject: str, house: House, received: float, way: str, by: str | None,
    scale: Timescale | None,
) -> Logged:  # fmt: skip
    if not isinstance(fields, dict):
        raise ValueError(f'an entry is an object such as {{"entry": "stir"}}, {_not(fields)}')
    _tidy(fields)
    name = _name(fields)
    check_subject(name, subject, house)
    at, dated = _at(fields.get("at"), received, scale)
    entry = _typed(name, fields if scale is None else carried(fields, scale.moment))
    _check_texts(entry)
    check_entry(entry, subject, house, at)
    return Logged(
        id=_id(fields, subject, None if dated else received),
        subject=subject,
        entry=entry,
        at=at,
        received=received,
        by=by if by is not None else _person(name, fields),
        way=way,
    )


def _not(fields: object) -> str:
    return "and names no member twice" if isinstance(fields, Twice) else f"not {kind_word(fields)}"


def _spell(fields: object) -> str:
    try:
        return safe(msgspec.json.encode(fields, order="sorted").decode(), 10 * HEAD)
    except (TypeError, ValueError, OverflowError, RecursionError):
        return kind_word(fields)


def _tidy(value: object, depth: int = 0) -> None:
    """Raise unless a value is plain JSON that can be written down and read back the same."""
    if depth > 8:
        raise ValueError("lists or objects lie too deep in one another; send them flat")
    if isinstance(value, Twice):
        raise ValueError(f"{show(value.member)} is there twice; send it once")
    if isinstance(value, dict):
        for member, inner in value.items():
            if not isinstance(member, str) or not printable(member):
                raise ValueError(f"member {show(member)} is no name; use letters")
            _tidy(inner, depth + 1)
    elif isinstance(value, (list, tuple)):
        for inner in value:
            _tidy(inner, depth + 1)
    elif isinstance(value, (int, float)):
        if not isfinite(value) or abs(value) > 2.0**53:
            raise ValueError(f"{show(float(value))} is no number to work with")
    elif isinstance(value, str):
        if safe(value, len(value)) != value:
            raise ValueError(f"{show(value)} holds half a character; send plain UTF-8")
    elif value is not None:
        raise ValueError(f"{type(value).__name__} is nothing that JSON knows")


def _name(fields: Mapping[str, object]) -> str:
    name = fields.get("entry")
    if name is None:
        raise ValueError(f'there is no member "entry"; it names one of {", ".join(KINDS)}')
    if not isinstance(name, str):
        raise ValueError(f"entry is {kind_word(name)}; it names one of {', '.join(KINDS)}")
    if name not in KINDS:
        known = nearest(name, KINDS, len(KINDS))
        raise ValueError(f"there is no entry {show(name, 40)}; there are {known}")
    return name


def _at(at: object, received: float, scale: Timescale | None) -> tuple[float, bool]:
    """When it was, and whether the entry itself says so believably."""
    if at is None:
        return received, False
    try:
        told = parse_time(at)
    except ValueError as wrong:
        raise ValueError(f"at: {wrong}") from None
    moment = told if scale is None else scale.moment(told)
    if told >= BOARD_EPOCH and moment <= received + AHEAD:
        return moment, True
    return received, False


def _typed(name: str, fields: dict[str, object]) -> Entry:
    try:
        return read_entry(_amendment(fields) if name == "amend" else fields)
    except msgspec.ValidationError as wrong:
        raise ValueError(plainly(name, str(wrong), fields)) from None


def _amendment(fields: dict[str, object]) -> dict[str, object]:
    """An amend whose further members have moved into its `fields`."""
    inner = fields.get("fields", {})
    if not isinstance(inner, dict):
        raise ValueError(f"fields is {kind_word(inner)}; send an object")
    own = {"of", "reason", "fields"}
    envelope = _ENVELOPE - {"by"} if _is_time(fields.get("by")) else _ENVELOPE
    further = {member: value for member, value in fields.items() if member not in own | envelope}
    amendment: dict[str, object] = {"entry": "amend", "fields": {**further, **inner}}
    amendment.update((member, fields[member]) for member in ("of", "reason") if member in fields)
    return amendment


def _check_texts(entry: Entry) -> None:
    for field in msgspec.structs.fields(entry):
        value = getattr(entry, field.name)
        for text in _texts(value):
            if not printable(text):
                raise ValueError(
                    f"{field.encode_name} {show(text)} is blank or has control characters; "
                    "send plain text on one line"
                )


def _texts(value: object) -> Iterable[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for inner in value.values():
            yield from _texts(inner)
    elif isinstance(value, (list, tuple)):
        for inner in value:
            yield from _texts(inner)


def _text(value: object, name: str) -> str:
    if not isinstance(value, str):
        raise ValueError(f"{name} is {kind_word(value)}; send a text")
    if len(value) > _LONGEST or not printable(value):
        raise ValueError(f"{name} {show(value)} is not 1 to {_LONGEST} printable characters")
    return value


def _person(name: str, fields: Mapping[str, object]) -> str | None:
    """Who made it: `who`, or `by` except where that is the aim's time of arrival."""
    arrival = name == "aim" or (name == "amend" and _is_time(fields.get("by")))
    for member in ("who",) if arrival else ("who", "by"):
        if fields.get(member) is not None:
            return _text(fields[member], member)
    return None


def _is_time(value: object) -> bool:
    """Whether an amend's `by` is the time of an aim, and not a person."""
    try:
        parse_time(value)
    except ValueError:
        return False
    return True


def _id(fields: Mapping[str, object], subject: str, received: float | None) -> str:
    """Its own id, else one made of what it says: the same told twice is the same entry.

    `received` counts only where the entry does not say itself when it was.
    """
    if fields.get("id") is not None:
        return _text(fields["id"], "id")
    told = msgspec.json.encode((subject, received, fields), order="sorted")
    return blake2b(told, digest_size=10).hexdigest()
