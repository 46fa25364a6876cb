"""The environment lies above the file, table by table and row by row."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from kuraban.errors import Fault
from kuraban.settings import load
from kuraban.settings.files.sources import merge, unknown_variables

Write = Callable[..., Path]
Faults = Callable[..., dict[str, Fault]]


def test_a_variable_sets_one_value_of_a_table(small: Write) -> None:
    """A container is told its broker without touching the site file."""
    env = {"KURABAN_MQTT__HOST": "broker", "KURABAN_MQTT__PORT": "8883", "HOME": "/root"}
    mqtt = load(small(more='[mqtt]\nhost = "here"\nroot = "brew"\n'), env).mqtt
    assert (mqtt.host, mqtt.port, mqtt.root) == ("broker", 8883, "brew")


def test_a_variable_takes_lists_as_json(small: Write) -> None:
    """Duty hours are a pair, written as JSON."""
    env = {"KURABAN_SITE__DUTY_HOURS": '["05:00", "20:00"]'}
    assert load(small(), env).house.site.duty_hours == (5 * 3600.0, 20 * 3600.0)


def test_rows_merge_by_id(small: Write) -> None:
    """One tank is corrected and one added; what was not named stays as written."""
    rows = '[{"id": "tank-3", "litres": 1500}, {"id": "tank-4", "kind": "tank", "name": "Tank 4"}]'
    house = load(small(), {"KURABAN_PLACE": rows}).house
    assert [place.id for place in house.places] == ["cellar", "tank-3", "tank-4"]
    assert house.place["tank-3"].litres == 1500
    assert house.place["tank-3"].room == "cellar"


def test_a_variable_names_one_value_of_one_row(small: Write) -> None:
    """An id's - is written _ where a shell allows no -."""
    env = {"KURABAN_PLACE__TANK_3__LITRES": "1500", "KURABAN_PLACE__TANK_3__BAND": "[4, 12]"}
    place = load(small(), env).house.place["tank-3"]
    assert (place.litres, place.band) == (1500, (4, 12))


def test_the_rota_is_replaced_whole(small: Write) -> None:
    """Rows without an id cannot merge: the rota given above is the rota."""
    env = {"KURABAN_DUTY": '[{"role": "crew", "person": "aki", "order": 1}]'}
    assert [duty.role for duty in load(small(), env).house.rota] == ["crew"]


def test_a_secret_above_displaces_its_file_below(small: Write) -> None:
    """Given one way in the file and the other way above, the one above counts."""
    site = small(more='[mqtt]\npassword_from = "nowhere.txt"\n')
    assert load(site, {"KURABAN_MQTT__PASSWORD": "koji"}).mqtt.password == "koji"


def test_a_fault_names_the_environment(small: Write, faults: Faults) -> None:
    """Whoever looks for it in the file would look in vain."""
    env = {
        "KURABAN_MQTT__HOSTT": "x",
        "KURABAN_PLACE": '[{"id": "tank-3", "cooler": "chiller-2"}]',
    }
    found = faults(small(), env)
    assert found["mqtt.hostt"].where == "environment"
    assert found["mqtt.hostt"].right == 'did you mean "host"?'
    assert found["place[tank-3].cooler"].where == "environment"


@pytest.mark.parametrize(
    "env", [{"KURABAN_PLACE": "tank-3"}, {"KURABAN_PLACE__TANK_3__BAND": "[1, "}]
)
def test_text_that_is_no_json_is_a_fault(env: dict[str, str], small: Write, faults: Faults) -> None:
    """A quote lost in a shell is told beside the faults of the file."""
    found = faults(small(('room = "cellar"', 'room = "attic"')), env)
    assert "place[tank-3].room" in found
    assert any(fault.where == "environment" for fault in found.values())


def test_an_empty_variable_is_none(small: Write) -> None:
    """A composition file that passes an unset variable on sets nothing."""
    assert load(small(), {"KURABAN_MQTT__HOST": ""}).mqtt.host == "127.0.0.1"


def test_a_misspelt_variable_is_told() -> None:
    """It would be taken for set, and the watch would listen at the wrong broker."""
    (told,) = unknown_variables({"KURABAN_MQT__HOST": "x", "KURABAN_SITE__NAME": "y", "PATH": "z"})
    assert told.key == "KURABAN_MQT__HOST"
    assert told.right == 'did you mean "KURABAN_MQTT"?'


def test_merging_changes_neither_side() -> None:
    """The tables below are read again for the report of faults."""
    below = {"place": [{"id": "a", "litres": 1}], "site": {"name": "x"}}
    above = {"place": [{"id": "a", "litres": 2}], "site": {"language": "ja"}}
    merged = merge(below, above)
    assert merged == {"place": [{"id": "a", "litres": 2}], "site": {"name": "x", "language": "ja"}}
    assert below["place"] == [{"id": "a", "litres": 1}]


def test_a_file_that_is_not_utf_8_is_a_fault(tmp_path: Path, faults: Faults) -> None:
    """A site file saved in an old Japanese encoding says what to do."""
    path = tmp_path / "site.toml"
    path.write_bytes('[site]\nname = "蔵"\n'.encode("shift_jis"))
    assert faults(path)["the file"].right == "save it as UTF-8"
