"""The site file and the environment, merged: TOML below, `KURABAN_…` above.

`KURABAN_MQTT__HOST` sets `host` of `[mqtt]`. A list table takes JSON rows that merge by id,
`KURABAN_PLACE='[{"id": "tank-3", "litres": 1500}]'`, or one value, `KURABAN_PLACE__TANK_3__LITRES`
(an id's `-` is written `_`). Rows of `duty`, `calendar` and `away`
have no id: given there, they replace those of the file.
"""

from __future__ import annotations

import difflib
import json
import tomllib
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from pydantic_settings import EnvSettingsSource, SettingsError, TomlConfigSettingsSource

from kuraban.errors import NOT_ALLOWED, Fault
from kuraban.settings.files.tables import SiteFile

PREFIX = "KURABAN_"
ROWS = ("place", "cooler", "probe", "person", "account")
ENVIRONMENT = "environment"
Raw = dict[str, Any]


class Environment(EnvSettingsSource):
    """The environment as it was given, not as the process has it."""

    def __init__(self, given: Mapping[str, str]) -> None:
        self._given = {name.lower(): text for name, text in given.items() if text != ""}
        super().__init__(SiteFile)

    def _load_env_vars(self) -> Mapping[str, str | None]:
        return self._given


def read_toml(path: Path, faults: list[Fault]) -> Raw | None:
    """The tables of a TOML file, or None with the fault that says file, line and what."""
    try:
        with path.open("rb") as stream:
            return tomllib.load(stream)
    except tomllib.TOMLDecodeError as refused:
        what, _, place = str(refused).partition(" (at ")
        line = place.rstrip(")") or "the file"
        faults.append(Fault(str(path), line, what, "write it as TOML 1.0"))
    except UnicodeDecodeError as refused:
        faults.append(Fault(str(path), "the file", str(refused), "save it as UTF-8"))
    except OSError as refused:
        what = refused.strerror or str(refused)
        right = "name a file that can be read"
        if isinstance(refused, PermissionError):
            right = NOT_ALLOWED
        faults.append(Fault(str(path), "the file", what, right))
    return None


def read_site(path: Path, env: Mapping[str, str], faults: list[Fault]) -> tuple[Raw, Raw] | None:
    """The merged tables of the site and, apart, those that the environment set."""
    if read_toml(path, faults) is None:
        return None
    tables = TomlConfigSettingsSource(SiteFile, path)()
    try:
        above = {name: _rows(name, value) for name, value in Environment(env)().items()}
    except (SettingsError, ValueError) as refused:
        right = """write JSON, such as '[{"id": "tank-3", "litres": 1500}]'"""
        faults.append(Fault(ENVIRONMENT, _table_of(refused), str(refused), right))
        above = {}
    return merge(tables, above), above


def _table_of(refused: Exception) -> str:
    named = (table for table in SiteFile.model_fields if f'"{table}"' in str(refused))
    return PREFIX + next(named, "…").upper()


def unknown_variables(env: Mapping[str, str]) -> Iterable[Fault]:
    """A word on each `KURABAN_…` variable that names no table of the site file."""
    known = {table.upper(): table for table in SiteFile.model_fields}
    for name in sorted(env):
        table = name.upper().split("__")[0].removeprefix(PREFIX)
        if name.upper().startswith(PREFIX) and table not in known:
            close = difflib.get_close_matches(table, known, n=1)
            right = f'did you mean "{PREFIX}{close[0]}"?' if close else "it is not used"
            yield Fault(ENVIRONMENT, name, "names no table of the site file", right)


def _rows(table: str, value: object) -> object:
    """Rows given under the names of their ids become a list of rows with ids."""
    if table not in ROWS or not isinstance(value, dict):
        return value
    return [
        {"id": own.replace("_", "-"), **{key: _decoded(table, text) for key, text in row.items()}}
        for own, row in value.items()
        if isinstance(row, dict)
    ]


def _decoded(table: str, text: object) -> object:
    if isinstance(text, str) and text.lstrip().startswith(("[", "{")):
        try:
            return json.loads(text)
        except ValueError as refused:
            raise ValueError(f'a value of "{table}" is not JSON: {refused}') from None
    return text


def merge(below: Raw, above: Raw) -> Raw:
    """Tables of `above` laid over `below`; a secret given one way displaces the other way."""
    merged = dict(below)
    for key, value in above.items():
        merged.pop(key.removesuffix("_from") if key.endswith("_from") else f"{key}_from", None)
        old = merged.get(key)
        if isinstance(old, dict) and isinstance(value, dict):
            merged[key] = merge(old, value)
        elif key in ROWS and isinstance(old, list) and isinstance(value, list):
            merged[key] = _merge_rows(old, value)
        else:
            merged[key] = value
    return merged


def _merge_rows(below: list[Any], above: list[Any]) -> list[Any]:
    merged = list(below)
    for row in above:
        own = row.get("id") if isinstance(row, dict) else None
        at = next((i for i, old in enumerate(merged) if own and _own(old) == own), None)
        if at is None:
            merged.append(row)
        else:
            merged[at] = merge(merged[at], row)
    return merged


def _own(row: object) -> object:
    return row.get("id") if isinstance(row, dict) else None


def set_above(above: Raw, merged: Raw, location: tuple[int | str, ...]) -> bool:
    """Whether the value at a location of the merged tables came from the environment."""
    here: object = above
    row: object = merged
    for part in location:
        if isinstance(part, int) and isinstance(here, list):
            row = row[part] if isinstance(row, list) and part < len(row) else None
            here = next((given for given in here if _own(given) == _own(row)), None)
        elif isinstance(here, dict) and part in here:
            here, row = here[part], row.get(part) if isinstance(row, dict) else None
        else:
            return False
    return here is not None
