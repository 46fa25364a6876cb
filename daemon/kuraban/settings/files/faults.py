"""From what pydantic found wrong to faults that an operator can act on.

Keys are named as `mqtt.port`, `place[tank-3].cooler`, `stage[soe].points`; a row without an id is
counted, `duty[#2].person`.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import Any, TypeVar, get_args

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from kuraban.errors import Fault
from kuraban.settings.files.values import listed, nearest, show

SECRETS = frozenset({"password", "pages", "notices", "secret", "ping", "token"})
"""Keys whose values no message repeats."""
RENAMED: Mapping[tuple[int | str, ...], tuple[str, str]] = {
    ("pages",): (
        "the table of the web pages has another name",
        "write [web]; `pages` rings a person",
    )
}
"""Keys that were called otherwise: what is wrong, and what is right now."""
BOUNDS: Mapping[str, str] = {
    "ge": "write a number greater than or equal to {}",
    "gt": "write a number above {}",
    "le": "write a number less than or equal to {}",
    "lt": "write a number below {}",
    "min_length": "give {} or more",
    "max_length": "give {} or less",
}
PLAIN: Mapping[str, str] = {
    "int": "write a whole number such as 1883", "float": "write a number such as 10.5",
    "bool": "write true or false", "string": "write a text in quotes",
    "date": "write a day such as 2026-02-01", "dict": "write a table",
}  # fmt: skip
"""What a plain value looks like, by the beginning of the library's name for what is wrong."""
Raw = Mapping[str, Any]
Where = Callable[[tuple[int | str, ...]], str]
Model = TypeVar("Model", bound=BaseModel)


def label(table: str, index: int, row: object) -> str:
    """The name of a row of a list table: `place[tank-3]`, or `place[#3]` without an id."""
    own = row.get("id") if isinstance(row, dict) else None
    return f"{table}[{own}]" if isinstance(own, str) and own else f"{table}[#{index + 1}]"


def name_key(location: tuple[int | str, ...], raw: Raw) -> str:
    """The key at a location of the raw tables, list tables by the id of their row."""
    table, rest, parts = str(location[0]) if location else "", location, list[str]()
    rows = raw.get(table)
    if len(location) > 1 and isinstance(location[1], int) and isinstance(rows, list):
        row = rows[location[1]]
        parts = [label(table, location[1], row) if isinstance(row, dict) else table]
        rest = location[2:]
    return ".".join([*parts, *(str(part) for part in rest if isinstance(part, str))])


def known_keys(model: type[BaseModel], location: tuple[int | str, ...]) -> list[str]:
    """The keys that the table at a location of a model knows."""
    for part in location:
        if isinstance(part, str):
            fields = {field.alias or name: field for name, field in model.model_fields.items()}
            inner = _table_in(fields[part].annotation) if part in fields else None
            if inner is None:
                return []
            model = inner
    return [field.alias or name for name, field in model.model_fields.items()]


def _table_in(annotation: object) -> type[BaseModel] | None:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    found = (_table_in(part) for part in get_args(annotation))
    return next((table for table in found if table is not None), None)


def _choices(error: ErrorDetails) -> list[str]:
    return re.findall(r"'([^']*)'", str(error.get("ctx", {}).get("expected", "")))


def _told(error: ErrorDetails, model: type[BaseModel]) -> tuple[str, str]:
    """What is wrong and what would be right."""
    kind, value, context = error["type"], error["input"], error.get("ctx", {})
    key = str(error["loc"][-1]) if error["loc"] else "the file"
    if kind == "fault":
        return str(context["wrong"]), str(context["right"])
    if kind == "extra_forbidden" and error["loc"] in RENAMED:
        return RENAMED[error["loc"]]
    if kind == "extra_forbidden":
        known = known_keys(model, error["loc"][:-1])
        return f'there is no key "{key}"', nearest(key, known, f"known are {listed(known)}")
    if kind == "missing":
        return "is missing", f"give {key}"
    if kind == "literal_error":
        known = _choices(error)
        return f"{show(value)} is not known", nearest(value, known, f"one of {listed(known)}")
    if kind in ("list_type", "tuple_type") and isinstance(value, dict):
        return "is a single table", f"write [[{key}]] with two brackets"
    if kind in ("model_type", "model_attributes_type"):
        return f"{show(value)} is not a table", f"write a table [{key}]"
    if kind == "too_short":
        return "is empty", f"give at least one {key}"
    shown = "what stands here" if SECRETS & set(error["loc"]) else show(value)
    if kind in ("list_type", "tuple_type"):
        return f"{shown} is not a list", f"write {key} = [...]"
    return f"{shown} does not fit", _right(kind, context)


def _right(kind: str, bounds: Mapping[str, Any]) -> str:
    """What would be right of a plain value, in our words and not in the library's."""
    for bound, form in BOUNDS.items():
        if bound in bounds:
            return form.format(bounds[bound])
    return next((right for name, right in PLAIN.items() if kind.startswith(name)), "see README.md")


def validate(model: type[Model], raw: Raw, where: Where, faults: list[Fault]) -> Model | None:
    """The checked tables, or None with every fault of form added to `faults`."""
    try:
        return model(**raw)
    except ValidationError as refused:
        errors = refused.errors(include_url=False)
        for error in (error for error in errors if not _follows(error, errors)):
            wrong, right = _told(error, model)
            faults.append(Fault(where(error["loc"]), name_key(error["loc"], raw), wrong, right))
    return None


def _follows(error: ErrorDetails, errors: list[ErrorDetails]) -> bool:
    """Whether a list is called too short only because a row of it is broken."""
    size = len(error["loc"])
    return error["type"] == "too_short" and any(
        len(other["loc"]) > size and other["loc"][:size] == error["loc"] for other in errors
    )
