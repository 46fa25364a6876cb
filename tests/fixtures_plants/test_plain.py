"""The plain alarms look at one raw value and a clock, and at nothing else."""

from __future__ import annotations

import json
from typing import Any

import pytest

from fixtures.plants.base import stamp
from fixtures.plants.plain import plain_alarm, readings

START = 1_770_000_000.0
TRUTH: dict[str, Any] = {
    "first_probe": {"tank-1": "t1-mid"},
    "planned": {"tank-1": [[START, 10.0, 9.5, 10.5], [START + 3600, 11.0, 10.5, 11.5]]},
}


def told(*values: float, every: float = 300.0) -> dict[str, list[tuple[float, float]]]:
    return {"t1-mid": [(START + 60 + every * n, value) for n, value in enumerate(values)]}


@pytest.mark.parametrize(("minutes", "rings"), [(0, 1), (10, 1), (15, 0)])
def test_it_rings_once_the_value_was_outside_for_its_delay(minutes: float, rings: int) -> None:
    found = plain_alarm(TRUTH, told(10.0, 10.7, 10.8, 10.7, 10.1), 60 * minutes)
    assert [line["alarm"] for line in found] == ["tank-1/warm"] * rings


def test_a_return_inside_starts_the_clock_again() -> None:
    assert not plain_alarm(TRUTH, told(10.7, 10.7, 10.2, 10.7, 10.7), 600)


def test_the_other_side_is_another_alarm() -> None:
    found = plain_alarm(TRUTH, told(10.7, 9.0), 0)
    assert [line["alarm"] for line in found] == ["tank-1/warm", "tank-1/cold"]


def test_the_plan_moves_on() -> None:
    assert plain_alarm(TRUTH, told(*[10.0] * 15), 0)[0]["at"] == stamp(START + 60 + 12 * 300)


def test_it_reads_every_form_that_the_plants_write() -> None:
    forms = [
        ("kura/reading/t1-mid", "10.1", None),
        ("kura/reading/t1-mid", '{"value": 10.2, "at": "2026-02-01T03:10:00+09:00"}', None),
        ("kura/reading/t1-mid", '[{"bn": "t1-mid", "bt": 1, "u": "Cel", "v": 10.3}]', None),
        ("plc/t1-mid", '{"c": 10.4, "t": "2026-02-01T03:10:00+09:00"}', None),
        ("kura/reading/t1-mid", "850.0", None),
        ("kura/reading/t1-mid", "24.0", 1),
        ("kura/log/t1-mid", '{"entry": "probe-out"}', None),
        ("kura/reading/t2-mid", "9.9", None),
    ]
    lines = [
        json.dumps({"tst": stamp(START + n), "topic": topic, "payload": payload, "retain": kept})
        for n, (topic, payload, kept) in enumerate(forms)
    ]
    values = [value for _, value in readings(lines, ["t1-mid"])["t1-mid"]]
    assert values == [10.1, 10.2, 10.3, 10.4]
