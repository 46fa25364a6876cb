"""Foreign bytes become JSON values here, or a sentence that says why not.

Boards are built by many hands, so the reading of their JSON is stricter than a library's and
never the same bytes two ways: a member told twice has no value, nesting ends at a stated depth
rather than where the stack does, and numbers of any length come out as floats. Whatever cannot be
taken is a ValueError whose text is the reason, worded for whoever built the board.
"""

from __future__ import annotations

import difflib
import json
import re
import unicodedata
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

LARGEST = 256 * 1024
"""Bytes of the longest payload that is read."""
DEEPEST = 32
"""Lists and objects within one another."""
HEAD = 256
"""Bytes of a refused payload that are kept."""

_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", re.ASCII)
_ESCAPE = re.compile(r"~(?![01])")
_INDEX = re.compile(r"0|[1-9]\d{0,8}", re.ASCII)
_LONGEST_NUMBER = 128


@dataclass(frozen=True, slots=True)
class Twice:
    """Stands where an object named one of its members twice."""

    member: str


def head_of(payload: bytes) -> str:
    """The first 256 bytes as text, undecodable ones as backslash escapes."""
    return payload[:HEAD].decode("utf-8", "backslashreplace")


def safe(text: str, most: int = 200) -> str:
    """Foreign text cut to a length, lone surrogates as escapes, so that it can be written."""
    return text[:most].encode("utf-8", "backslashreplace").decode()


def show(value: object, most: int = 60) -> str:
    """A value as JSON would write it, cut short."""
    if isinstance(value, str):
        shown = json.dumps(value[:most], ensure_ascii=False)
        return safe(shown + "…" if len(value) > most else shown, most + 20)
    if isinstance(value, bool) or value is None:
        return {True: "true", False: "false", None: "null"}[value]
    if isinstance(value, (int, float)):
        return f"{value:.12g}"
    return kind_word(value)


def kind_word(value: object) -> str:
    """What a decoded JSON value is, in plain words."""
    if value is None:
        return "null"
    if isinstance(value, bool):
        return "a truth value"
    words = {str: "a text", int: "a number", float: "a number", list: "a list", dict: "an object"}
    return words.get(type(value), "nothing that JSON knows")


def nearest(name: str, known: Iterable[str], most: int = 8) -> str:
    """Known names, those most like `name` first."""
    names = list(known)
    ranked = difflib.get_close_matches(name[:100], names, n=len(names) or 1, cutoff=0.0)
    rest = len(ranked) - most
    return ", ".join(ranked[:most]) + (f" and {rest} more" if rest > 0 else "") or "none"


def printable(text: str) -> bool:
    """Whether a text has something to read and no control characters; wide spaces are text."""
    return bool(text.strip()) and all(
        mark.isprintable() or unicodedata.category(mark) == "Zs" for mark in text
    )


def too_long(size: int) -> str:
    """What is wrong with a payload of so many bytes."""
    return f"payload has {size} bytes; at most {LARGEST} are read"


def text_of(payload: bytes) -> str:
    """The payload as text, surrounding white space taken off."""
    if len(payload) > LARGEST:
        raise ValueError(too_long(len(payload)))
    if payload.startswith((b"\xef\xbb\xbf", b"\xff\xfe", b"\xfe\xff")):
        raise ValueError("payload begins with a byte order mark; send plain UTF-8 without it")
    if b"\0" in payload:
        raise ValueError("payload holds a null byte; send the text alone, without its end mark")
    try:
        text = payload.decode().strip(" \t\r\n\v\f")
    except UnicodeDecodeError as wrong:
        raise ValueError(f"byte {wrong.start + 1} is not UTF-8; send plain UTF-8 text") from None
    if not text:
        raise ValueError("payload is empty; send the number, or a JSON object with it")
    return text


def is_number(text: str) -> bool:
    """Whether a text is a decimal number, as a board would print one."""
    return len(text) <= _LONGEST_NUMBER and _NUMBER.fullmatch(text.strip()) is not None


def document_of(text: str) -> object:
    """What a reading's payload says: JSON, or a number or truth value as plain text."""
    if text[0] in '{["':
        return json_of(text)
    if is_number(text):
        return float(text)
    if text in ("true", "false"):
        return text == "true"
    raise ValueError(f"payload {show(text)} is no number; {_right_text(text)}")


def _right_text(text: str) -> str:
    pointed = text.replace(",", ".")
    if pointed != text and is_number(pointed):
        return f"write {show(float(pointed))} with a point"
    if text.lower() in ("true", "false", "on", "off", "yes", "no"):
        return "send true or false"
    if len(text) > _LONGEST_NUMBER:
        return f"a number has at most {_LONGEST_NUMBER} characters"
    begins = _NUMBER.match(text)
    if begins is not None and "_" not in text:
        return f"send {begins[0]} alone, or a JSON object"
    return 'send the number alone, such as 10.46, or a JSON object such as {"value": 10.46}'


def json_of(text: str) -> object:
    """The JSON value of a text; an object that names a member twice is a `Twice`."""
    try:
        document: object = _DECODER.decode(text)
    except RecursionError:
        raise ValueError(_TOO_DEEP) from None
    except json.JSONDecodeError as wrong:
        before = Counter(_TEXT.sub("", text[: wrong.pos]))
        if before["["] + before["{"] - before["]"] - before["}"] > DEEPEST:
            raise ValueError(_TOO_DEEP) from None
        raise ValueError(f"not JSON: {wrong.msg} at character {wrong.pos + 1}") from None
    if text.count("[") + text.count("{") > DEEPEST and _depth(document) > DEEPEST:
        raise ValueError(_TOO_DEEP)
    return document


_TEXT = re.compile(r'"(?:[^"\\]|\\.)*"')
_TOO_DEEP = f"lists or objects lie more than {DEEPEST} deep in one another; send them flat"


def _members(pairs: list[tuple[str, object]]) -> dict[str, object] | Twice:
    members = dict(pairs)
    if len(members) == len(pairs):
        return members
    count = Counter(name for name, _ in pairs)
    return Twice(next(name for name in count if count[name] > 1))


def _whole(digits: str) -> int | float:
    return int(digits) if len(digits) <= 15 else float(digits)


_DECODER = json.JSONDecoder(object_pairs_hook=_members, parse_int=_whole, parse_constant=float)


def _depth(document: object) -> int:
    level, deep = [document], 0
    while level and deep <= DEEPEST:
        inner: list[object] = []
        for value in level:
            if isinstance(value, dict):
                inner.extend(value.values())
            elif isinstance(value, list):
                inner.extend(value)
        holds = any(isinstance(value, (dict, list, Twice)) for value in level)
        level, deep = inner, deep + holds
    return deep


def untwice(value: object) -> object:
    """The value itself; ValueError if it is an object that named a member twice."""
    if isinstance(value, Twice):
        raise ValueError(f"{show(value.member)} is there twice; send it once")
    return value


def pointer_of(text: str) -> tuple[str, ...]:
    """The reference tokens of a JSON Pointer (RFC 6901); ValueError if it is none."""
    if text and not text.startswith("/"):
        raise ValueError(f'{text!r} is no JSON Pointer; it begins with "/", as in "/probe/celsius"')
    if _ESCAPE.search(text):
        raise ValueError(f'{text!r} is no JSON Pointer; "~" is written "~0" and "/" inside "~1"')
    return tuple(part.replace("~1", "/").replace("~0", "~") for part in text.split("/")[1:])


_ABSENT = object()


def follow(document: object, pointer: tuple[str, ...]) -> object:
    """What a JSON Pointer points at; `LookupError` where nothing is."""
    for token in pointer:
        value = untwice(document)
        document = _ABSENT
        if isinstance(value, dict):
            document = value.get(token, _ABSENT)
        elif isinstance(value, list) and _INDEX.fullmatch(token) and int(token) < len(value):
            document = value[int(token)]
        if document is _ABSENT:
            raise LookupError(token)
    return untwice(document)
