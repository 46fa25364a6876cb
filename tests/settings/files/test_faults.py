"""Faults are named by the ids that people know."""

from __future__ import annotations

import pytest

from kuraban.errors import Fault
from kuraban.settings.files.faults import known_keys, label, name_key, validate
from kuraban.settings.files.tables import CourseFile, SiteFile

RAW = {"place": [{"id": "tank-3"}, {"id": 7}], "site": {"name": "x"}, "mqtt": {}}


@pytest.mark.parametrize(
    ("location", "name"),
    [
        (("place", 0, "cooler"), "place[tank-3].cooler"),
        (("place", 1, "cooler"), "place[#2].cooler"),
        (("site", "courses", 1), "site.courses"),
        (("place", 0), "place[tank-3]"),
        (("mqtt", "port"), "mqtt.port"),
    ],
)
def test_keys_are_named_by_ids(location: tuple[int | str, ...], name: str) -> None:
    """`place[tank-3].cooler`; a row without an id is counted."""
    assert name_key(location, RAW) == name


def test_a_row_without_an_id_is_counted_from_one() -> None:
    """As people count."""
    assert label("duty", 0, {"role": "brewer"}) == "duty[#1]"


def test_known_keys_are_those_that_people_write() -> None:
    """A course says `for`, whatever the program calls it."""
    assert "for" in known_keys(CourseFile, ())
    assert "wet_bulb_depression" not in known_keys(CourseFile, ("stage", 0))
    assert "cooler" in known_keys(SiteFile, ("place", 3))


def test_a_table_in_single_brackets_says_so() -> None:
    """The commonest slip in a list of tables."""
    faults: list[Fault] = []
    assert validate(SiteFile, {"place": {"id": "a"}, "site": 3}, lambda _: "f", faults) is None
    told = {fault.key: fault.right for fault in faults}
    assert told["place"] == "write [[place]] with two brackets"
    assert told["site"] == "write a table [site]"
