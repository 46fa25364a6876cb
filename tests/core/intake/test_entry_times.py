"""The times that an entry names are brought over, and nothing else of it is touched."""

from __future__ import annotations

import pytest

from kuraban.core.intake.entry_times import carried


def hour(at: float) -> float:
    return at - 3600.0


def test_every_time_of_every_entry_is_carried() -> None:
    stage = carried({"entry": "stage", "stage": "tome", "since": "2026-02-01T03:10:00+09:00"}, hour)
    assert stage == {"entry": "stage", "stage": "tome", "since": 1769883000.0 - 3600}
    assert carried({"entry": "aim", "celsius": 9, "by": 7200}, hour)["by"] == 3600.0
    plan = {"entry": "plan", "points": [[7200, 9.0], ["1970-01-01T03:00:00Z", 8.0]]}
    assert carried(plan, hour)["points"] == [[3600.0, 9.0], [7200.0, 8.0]]


def test_a_correction_carries_the_times_in_it() -> None:
    told = {"entry": "amend", "of": "x", "fields": {"by": 7200, "celsius": 9.0}}
    assert carried(told, hour)["fields"] == {"by": 3600.0, "celsius": 9.0}


@pytest.mark.parametrize(
    "told",
    [
        {"entry": "stir", "by": "aki", "for": "20m"},
        {"entry": "amend", "of": "x", "by": "aki"},
        {"entry": "stage", "since": "soon"},
        {"entry": "plan", "points": "none"},
        {"entry": "plan", "points": [[], "x"]},
        {"entry": "sample", "at": 7200, "smv": -3},
    ],
)
def test_what_is_no_time_stays_as_it_was_told(told: dict[str, object]) -> None:
    assert carried(told, hour) == told
