"""The JSON Schemas that come with the watch say what its tables say."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path

from tests.site_schemas import course_schema, site_schema

SHARED = Path(__file__).parents[1] / "shared"


def test_the_schemas_are_those_of_the_tables() -> None:
    """Run `python -m tests.schemas` after a change of the tables."""
    assert (SHARED / "schemas" / "site.json").read_text(encoding="utf-8") == site_schema()
    assert (SHARED / "schemas" / "course.json").read_text(encoding="utf-8") == course_schema()


def test_defaults_stand_as_the_file_spells_them() -> None:
    """Who writes a site file by the schema reads durations and hours, not seconds."""
    tables = json.loads(site_schema())["$defs"]
    assert tables["PlaceTable"]["properties"]["delay"]["default"] == "30m"
    assert tables["SiteTable"]["properties"]["duty_hours"]["default"] == ["06:00", "21:00"]
    assert "null" not in site_schema() + course_schema()


def test_the_keys_of_every_built_in_course_are_in_the_schema() -> None:
    """The files that newcomers copy are of the form that the schema tells."""
    schema = json.loads(course_schema())
    stage = schema["$defs"]["StageTable"]
    for path in (SHARED / "courses").glob("*.toml"):
        course = tomllib.loads(path.read_text(encoding="utf-8"))
        assert set(schema["required"]) <= set(course) <= set(schema["properties"])
        for row in course["stage"]:
            assert set(stage["required"]) <= set(row) <= set(stage["properties"])
