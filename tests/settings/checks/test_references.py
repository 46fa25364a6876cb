"""Names are unique, references lead somewhere, and probes measure what is there."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from kuraban.settings.checks.references import Wrong, check


def found(**tables: Any) -> dict[str, Wrong]:
    return {wrong.key: wrong for wrong in check(tables, Path("/nowhere"))}


def place(own: str, kind: str = "tank", **more: Any) -> dict[str, Any]:
    return {"id": own, "kind": kind, "name": own, **more}


def test_a_tank_and_a_probe_cannot_share_a_name() -> None:
    """A log entry on `t3` must mean one thing."""
    probes = [{"id": "t3", "of": "t3", "measures": "product"}]
    assert (
        "also the id of a place" in found(place=[place("t3")], probe=probes)["probe[t3].id"].wrong
    )


def test_a_person_may_bear_a_tanks_name() -> None:
    """People are never the subject of an alarm."""
    assert found(place=[place("aki")], person=[{"id": "aki", "name": "Aki", "pages": []}]) == {}


def test_two_people_cannot_share_a_name() -> None:
    """A page must reach the one who is meant."""
    people = [{"id": "aki", "name": "Aki", "pages": []}] * 2
    assert "every person" in found(person=people)["person[aki].id"].right


def test_a_tank_does_not_stand_in_a_tank() -> None:
    """Only a room or a cold store has air around a place."""
    told = found(place=[place("t1"), place("t2", room="t1"), place("cellar", "room")])
    assert told["place[t2].room"].right == "name one of cellar"


def test_a_starter_may_stand_in_a_cold_store() -> None:
    """Some houses rest it there."""
    assert found(place=[place("s1", "starter", room="store"), place("store", "cold-store")]) == {}


def test_a_heater_is_no_cooler() -> None:
    """A tank served by the koji room's heater would be judged upside down."""
    coolers = [{"id": "h1", "kind": "heater"}]
    told = found(place=[place("t1", cooler="h1")], cooler=coolers)
    assert told["place[t1].cooler"].wrong == '"h1" is of kind heater, not a cooler'


@pytest.mark.parametrize(
    ("of", "measures"),
    [
        ("t1", "humidity"),
        ("t1", "supply"),
        ("c1", "product"),
        ("room", "product"),
        ("bed", "power"),
    ],
)
def test_a_measure_fits_what_the_probe_is_of(of: str, measures: str) -> None:
    """Mash has no humidity, a chiller no product."""
    places = [place("t1"), place("room", "room"), place("bed", "koji-bed")]
    probes = [{"id": "p", "of": of, "measures": measures}]
    told = found(place=places, cooler=[{"id": "c1", "kind": "chilled-water"}], probe=probes)
    assert list(told) == ["probe[p].measures"]


@pytest.mark.parametrize(
    ("measures", "key", "value"),
    [("humidity", "unit", "°F"), ("running", "factor", 0.1), ("air", "draught", "fan")],
)
def test_degrees_are_for_temperatures_and_factors_for_numbers(
    measures: str, key: str, value: Any
) -> None:
    cooler = {"id": "c1", "kind": "chilled-water"}
    room = place("r1", "room")
    of = "r1" if measures == "humidity" else "c1"
    probe = {"id": "a", "of": of, "measures": measures, key: value}
    assert list(found(place=[room], cooler=[cooler], probe=[probe])) == [f"probe[a].{key}"]


def test_two_probes_do_not_read_one_value() -> None:
    """Twins on one pointer would always agree, and one bad probe would outvote itself."""
    probe = {"of": "t1", "measures": "product", "topic": "m/1", "pointer": "/t"}
    told = found(place=[place("t1")], probe=[{"id": "a", **probe}, {"id": "b", **probe}])
    assert list(told) == ["probe[b].topic"]


def test_one_topic_may_carry_several_probes() -> None:
    """A meter sends all it knows in one message."""
    probe = {"of": "t1", "measures": "product", "topic": "m/1"}
    probes = [{"id": "a", **probe, "pointer": "/a"}, {"id": "b", **probe, "pointer": "/b"}]
    assert found(place=[place("t1")], probe=probes) == {}


def test_a_pointer_to_the_time_alone_is_told() -> None:
    """The value would be looked for in the whole message."""
    probe = {"id": "a", "of": "t1", "measures": "product", "topic": "m/1", "at_pointer": "/at"}
    assert list(found(place=[place("t1")], probe=[probe])) == ["probe[a].at_pointer"]


BROKEN_TABLES: list[dict[str, Any]] = [
    {"place": {"id": "a"}, "probe": 3, "mqtt": "here"},
    {"place": [3, {"id": 3, "room": ["a"]}], "person": [None], "duty": [{}]},
]


@pytest.mark.parametrize("tables", BROKEN_TABLES)
def test_tables_of_the_wrong_form_stop_no_check(tables: dict[str, Any]) -> None:
    """What is no table is told by the check of form; this one passes over it."""
    assert found(**tables) == {}
