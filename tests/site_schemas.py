"""JSON Schemas of the site file and of a course file, printed from the tables.

They describe the files as TOML holds them. `shared/schemas` carries both; what stands between the
tables (ids, references) is beyond a schema and is checked by `kuraban check`.
"""

from __future__ import annotations

import json
from typing import Any

from pydantic import BaseModel

from kuraban.core.units import MINUTE, show_duration
from kuraban.settings.files.tables import CourseFile, SiteFile
from kuraban.settings.files.values import DURATION_PATTERN

DIALECT = "https://json-schema.org/draft/2020-12/schema"


def site_schema() -> str:
    return _text(SiteFile, "kuraban site file")


def course_schema() -> str:
    return _text(CourseFile, "kuraban course file")


def _text(model: type[BaseModel], title: str) -> str:
    schema = _spelled({"$schema": DIALECT, **model.model_json_schema(), "title": title})
    return json.dumps(schema, ensure_ascii=False, indent=2) + "\n"


def _spelled(part: Any) -> Any:
    """Defaults as the file spells them: "30m", "06:00"; what is absent has none."""
    if isinstance(part, list):
        return [_spelled(inner) for inner in part]
    if not isinstance(part, dict):
        return part
    spelled = {key: _spelled(inner) for key, inner in part.items() if key != "default"}
    default = part.get("default")
    if default is not None and not isinstance(default, dict):
        spelled["default"] = _default(part, default)
    return _without_null(spelled)


def _without_null(part: dict[str, Any]) -> dict[str, Any]:
    """TOML has no null: an optional key is left out instead."""
    choices = [choice for choice in part.get("anyOf", ()) if choice != {"type": "null"}]
    if len(choices) != 1:
        return part
    rest = {key: inner for key, inner in part.items() if key != "anyOf"}
    return {**choices[0], **rest}


def _default(part: dict[str, Any], default: Any) -> Any:
    if part.get("pattern") == DURATION_PATTERN:
        return show_duration(default)
    if "24:00" in str(part.get("pattern", "")):
        return f"{default // 3600:02.0f}:{default % 3600 / MINUTE:02.0f}"
    items = part.get("items")
    if isinstance(items, dict) and "pattern" in items and isinstance(default, (list, tuple)):
        return [_default(items, one) for one in default]
    return default
