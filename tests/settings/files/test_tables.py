"""The tables say what must be there and what may be absent."""

from __future__ import annotations

import pytest
from pydantic import BaseModel

from kuraban.settings.files.tables import (
    CoolerTable,
    CourseFile,
    DutyTable,
    MqttTable,
    PersonTable,
    PlaceTable,
    ProbeTable,
    SiteFile,
    SiteTable,
    StageTable,
)


@pytest.mark.parametrize(
    ("table", "required"),
    [
        (SiteFile, set()),
        (SiteTable, set()),
        (MqttTable, set()),
        (PlaceTable, {"id", "kind", "name"}),
        (CoolerTable, {"id", "kind"}),
        (ProbeTable, {"id", "of", "measures"}),
        (PersonTable, {"id", "name"}),
        (DutyTable, {"role", "person", "order"}),
        (CourseFile, {"id", "stage"}),
        (StageTable, {"id", "length", "points"}),
    ],
)
def test_what_must_be_there(table: type[BaseModel], required: set[str]) -> None:
    """A person's pages too, or the file they come from: that is checked apart."""
    fields = table.model_fields.items()
    assert {field.alias or name for name, field in fields if field.is_required()} == required


def test_the_tables_read_nothing_by_themselves(monkeypatch: pytest.MonkeyPatch) -> None:
    """What the process's environment holds comes in at one place, the merging."""
    monkeypatch.setenv("KURABAN_SITE__NAME", "Other")
    assert SiteFile().site.name == "Kura"
