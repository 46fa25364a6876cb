"""SenML packs (RFC 8428): a list of records, resolved into (name, unit, value, time).

Base fields hold from their record on until the next record that gives them anew (section 4.1):
the name is base name + name, the time base time + time, a number base value + value, and the base
unit stands in for a missing unit. Times below 2**28 are seconds from now, others Unix seconds
(section 4.5.3). A label that nobody knows is passed over, except that one which ends in "_" must
be understood (section 4.4). A fault in a base field, or such a label, spoils the pack; any other
spoils its record alone.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from kuraban.core.intake.payload import kind_word, show, untwice

VERSION = 10
"""The version of RFC 8428 itself, the highest that is understood."""
RELATIVE = float(2**28)

LABELS: dict[str, str] = {
    "bn": "text", "bt": "number", "bu": "text", "bv": "number", "bs": "number", "bver": "number",
    "n": "text", "u": "text", "v": "number", "vs": "text", "vb": "truth", "vd": "text",
    "s": "number", "t": "number", "ut": "number",
}  # fmt: skip
_VALUES = ("v", "vb", "vs", "vd")
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9\-:./_]*")


@dataclass(frozen=True, slots=True)
class Record:
    """One resolved record; `time` in Unix seconds, None where the pack gives none.

    `value` is a number, a truth value or a text (also the base64 text of data). `relative` says
    that the time was counted from now.
    """

    name: str
    unit: str | None
    value: float | bool | str
    time: float | None
    relative: bool


def is_pack(document: list[object]) -> bool:
    """Whether a list is a pack rather than plain {"value", "at"} objects."""
    objects = [element for element in document if isinstance(element, dict)]
    return not any("value" in element for element in objects) and any(
        label in element for element in objects for label in LABELS
    )


def resolve(pack: list[object], now: float) -> list[Record | str]:
    """The records of a pack in its own order, the reason in place of one that cannot be taken.

    ValueError where the pack as a whole cannot: a wrong base field or version, or a label that
    must be understood.
    """
    base: dict[str, object] = {}
    resolved: list[Record | str] = []
    for element in pack:
        if not isinstance(element, dict):
            resolved.append(_not_an_object(element))
            continue
        _check_labels(element)
        base.update((label, element[label]) for label in element if label in _BASES)
        try:
            resolved.append(_record(element, base, now))
        except ValueError as wrong:
            resolved.append(str(wrong))
    return resolved


_BASES = frozenset({"bn", "bt", "bu", "bv", "bs", "bver"})


def _not_an_object(element: object) -> str:
    try:
        untwice(element)
    except ValueError as wrong:
        return str(wrong)
    return f"a SenML record is an object, not {kind_word(element)}"


def _check_labels(element: dict[str, object]) -> None:
    for label, value in element.items():
        if label.endswith("_"):
            raise ValueError(f"SenML label {show(label)} must be understood, and is not known here")
        if label in _BASES:
            _check_kind(label, value)
    version = element.get("bver", VERSION)
    if not (isinstance(version, (int, float)) and 0 < version <= VERSION and version % 1 == 0):
        raise ValueError(f"SenML version {show(version)} is not known; {VERSION} and below are")


def _check_kind(label: str, value: object) -> None:
    kind = LABELS[label]
    if kind == "text":
        right = isinstance(value, str)
    elif kind == "truth":
        right = isinstance(value, bool)
    else:
        number = isinstance(value, (int, float)) and not isinstance(value, bool)
        right = number and math.isfinite(value)  # type: ignore[arg-type]
    if not right:
        wanted = {"text": "a text", "truth": "true or false", "number": "a number"}[kind]
        found = show(value) if isinstance(value, (bool, float)) else kind_word(value)
        raise ValueError(f"SenML {label} is {found}; send {wanted}")


def _record(element: dict[str, object], base: dict[str, object], now: float) -> Record:
    for label in LABELS.keys() & element.keys():
        _check_kind(label, element[label])
    name = f"{base.get('bn', '')}{element.get('n', '')}"
    if not _NAME.fullmatch(name):
        raise ValueError(f"SenML name {show(name)} is not one; bn and n together name the probe")
    unit = element.get("u", base.get("bu"))
    time = _number(base, "bt") + _number(element, "t")
    relative = time < RELATIVE
    told = "bt" in base or "t" in element
    return Record(
        name=name,
        unit=str(unit) if unit is not None else None,
        value=_value(element, base),
        time=(now + time if relative else time) if told else None,
        relative=relative,
    )


def _value(element: dict[str, object], base: dict[str, object]) -> float | bool | str:
    given = [label for label in _VALUES if label in element]
    if len(given) > 1:
        raise ValueError(f"SenML record has {' and '.join(given)}; one value is right")
    if given and given[0] != "v":
        value = element[given[0]]
        return value if isinstance(value, bool) else str(value)
    if not given and ("bv" not in base or "s" in element):
        raise ValueError("SenML record has no value; send v or vb")
    return _number(base, "bv") + _number(element, "v")


def _number(fields: dict[str, object], label: str) -> float:
    value = fields.get(label, 0.0)
    return float(value) if isinstance(value, (int, float)) else 0.0
