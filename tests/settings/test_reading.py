"""A brewery is read once, whole, and every fault of it is told at once."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from kuraban.core.site import from_document, to_document
from kuraban.errors import ConfigurationError, Fault
from kuraban.settings import load

Write = Callable[..., Path]
Faults = Callable[..., dict[str, Fault]]
HERE = Path(__file__).parent
FIXTURES = HERE.parents[1] / "fixtures" / "brewery" / "site.toml"

BROKEN: dict[str, list[tuple[str, str, str]]] = {
    "01-wrong-room.toml": [
        ("place[tank-3].room", 'there is no room "celar"', 'did you mean "cellar"?'),
        ("place[tank-3].cooler", 'there is no cooler "chiler-1"', 'did you mean "chiller-1"?'),
    ],
    "02-unknown-keys.toml": [
        ("site.timezome", 'there is no key "timezome"', 'did you mean "timezone"?'),
        ("place[tank-3].liters", 'there is no key "liters"', 'did you mean "litres"?'),
        ("persom", 'there is no key "persom"', 'did you mean "person"?'),
    ],
    "03-ids.toml": [
        ("place[Tank 3].id", "is not an id", "small letters"),
        ("place[watch].id", "stands for the site", "choose another"),
        ("probe[chiller-1].id", "also the id of a cooler", "share one set"),
    ],
    "04-missing.toml": [
        ("place[tank-3].name", "is missing", "give name"),
        ("probe[t3-mid].measures", "is missing", "give measures"),
        ("person[aki].pages", "is missing", "pages_from"),
        ("duty[#1].order", "is missing", "give order"),
    ],
    "05-bands-and-hours.toml": [
        ("place[store].band", "is not a band", "the lower comes first: [1, 8]"),
        ("place[store].delay", '"45 min" cannot be read', "write a duration"),
        ("duty[#1].hours", '"25:00" cannot be read', "write a time of day"),
        ("duty[#1].days", '"sunday" is not known', 'did you mean "sun"?'),
        ("site.duty_hours", "covers no time", "the two times must differ"),
    ],
    "06-kinds.toml": [
        ("place[tank-3].kind", '"tanks" is not known', 'did you mean "tank"?'),
        ("probe[t3-mid].measures", '"produce" is not known', 'did you mean "product"?'),
        ("site.timezone", '"Asia/Tokio" is not a time zone', 'did you mean "Asia/Tokyo"?'),
        ("site.language", '"jp" is not known', "one of en, ja"),
    ],
    "07-measures-that-do-not-fit.toml": [
        ("probe[t3-power].measures", '"power" does not fit "tank-3", of kind tank', "product"),
        ("probe[c1-wet].measures", '"wet-bulb" does not fit "chiller-1"', "supply"),
        ("probe[lost].of", 'there is no place or cooler "tank-33"', 'did you mean "tank-3"?'),
        ("duty[#1].person", 'there is no person "aky"', 'did you mean "aki"?'),
        (
            "place[koji-room].heater",
            '"chiller-1" is of kind chilled-water, not a heater',
            "add a heater",
        ),
    ],
    "08-mqtt.toml": [
        ("mqtt.port", "70000", "less than or equal to 65535"),
        ("mqtt.root", "is not a topic", "without + # $"),
        ("mqtt.cert_file", "is given without key_file", "give key_file"),
        ("mqtt.ca_file", "there is no file", "name a file that is there"),
        ("probe[meter].pointer", "is not a pointer", "RFC 6901"),
    ],
    "09-not-toml.toml": [
        ("line 4, column 6", "Expected '=' after a key in a key/value pair", "TOML 1.0"),
    ],
    "10-numbers.toml": [
        ("place[tank-3].litres", "0 is not above 0", "write a number above 0"),
        ("cooler[chiller-1].rated_watts", "true is not a number", "write a number"),
        ("probe[t3-mid].offset", "is not a number", "write a number"),
        ("probe[t3-mid].every", "is no time at all", "above 0"),
    ],
}


@pytest.mark.parametrize("name", sorted(BROKEN))
def test_a_broken_site_says_file_key_and_what_would_be_right(name: str, faults: Faults) -> None:
    """Ten broken site files: each fault once, all of them together, none beside them."""
    path = HERE / "broken" / name
    found = faults(path)
    assert set(found) == {key for key, _, _ in BROKEN[name]}
    for key, wrong, right in BROKEN[name]:
        assert found[key].where == str(path)
        assert wrong in found[key].wrong
        assert right in found[key].right


def test_faults_of_site_and_courses_come_together(
    small: Write, course: Write, faults: Faults
) -> None:
    """Whoever runs the check before the season mends everything in one go."""
    broken = course(('["24h", 13.0]', '["0h", 13.0]'))
    site = small(('room = "cellar"', 'room = "attic"'), ("[site]", '[site]\ncourses = ["courses"]'))
    found = faults(site)
    assert found["place[tank-3].room"].where == str(site)
    assert found["stage[soe].points"].where == str(broken)
    assert "ascending" in found["stage[soe].points"].right


def test_a_site_that_is_not_there_is_one_fault(tmp_path: Path, faults: Faults) -> None:
    """A wrong path is told, not traced back."""
    assert "No such file" in faults(tmp_path / "sight.toml")["the file"].wrong


def test_a_folder_of_courses_that_is_not_there_is_a_fault(small: Write, faults: Faults) -> None:
    """Courses that were forgotten are not silently absent at the first batch."""
    found = faults(small(("[site]", '[site]\ncourses = ["curses"]')))
    assert "no folder" in found["site.courses"].wrong


def test_the_small_brewery_is_a_house(small: Write) -> None:
    """What is not written takes the default; times are seconds."""
    path = small()
    settings = load(path, {})
    house = settings.house
    assert house.place["tank-3"].delay == 1800.0
    assert house.cooler["chiller-1"].name == "chiller-1"
    assert house.cooler["chiller-1"].delay == 900.0
    assert house.probe["t3-mid"].every == 60.0
    assert house.site.evening == 20.5 * 3600
    assert house.person["aki"].language == "en"
    assert settings.data == path.parent / "data"
    assert settings.mqtt.root == "kura"
    assert settings.warnings == ()


def test_the_house_holds_no_secret(small: Write) -> None:
    """What the journal keeps can be shown to anyone; the addresses stay with the courier."""
    path = small(more='[mqtt]\nuser = "watch"\npassword = "rice-and-water"\n')
    settings = load(path, {})
    document = to_document(settings.house)
    assert settings.addresses["aki"].pages == ("json://127.0.0.1:9000/aki",)
    assert settings.mqtt.password == "rice-and-water"
    assert "9000" not in document and "rice-and-water" not in document
    assert "9000" not in repr(settings) and "rice-and-water" not in repr(settings)


def test_a_house_comes_back_whole_from_the_journal() -> None:
    """Site, rota and every course, written as JSON and read again, are the same."""
    house = load(FIXTURES, {}).house
    assert from_document(to_document(house)) == house
    assert len(house.courses) > 6


def test_everything_but_names_and_references_may_be_absent(tmp_path: Path) -> None:
    """An empty site file is a house that watches nothing, and says what is missing."""
    path = tmp_path / "site.toml"
    path.write_text("")
    settings = load(path, {})
    assert settings.house.places == ()
    assert {fault.key for fault in settings.warnings} == {"site.timezone", "duty"}


def test_settings_are_read_by_the_environment_of_the_process(
    small: Write, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without an environment given, the process's own counts."""
    monkeypatch.setenv("KURABAN_MQTT__HOST", "broker.example")
    assert load(small()).mqtt.host == "broker.example"


def test_certificates_are_found_from_the_site_files_folder(small: Write, tmp_path: Path) -> None:
    """Wherever the watch is started from, relative paths mean the same file."""
    (tmp_path / "ca.pem").write_text("x")
    assert load(small(more='[mqtt]\nca_file = "ca.pem"\n'), {}).mqtt.ca_file == tmp_path / "ca.pem"


def test_a_configuration_error_prints_one_fault_a_line(small: Write) -> None:
    """The operator reads file, key, what is wrong and what would be right."""
    with pytest.raises(ConfigurationError) as broken:
        load(small(('of = "tank-3"', 'of = "tank-4"')), {})
    assert str(broken.value).endswith(
        'site.toml: probe[t3-mid].of: there is no place or cooler "tank-4"; did you mean "tank-3"?'
    )


def test_a_fault_repeats_no_secret(small: Write, faults: Faults) -> None:
    """An address without its brackets is told, and stays out of the operator's terminal."""
    bare = 'pages = "json://127.0.0.1:9000/aki"'
    found = faults(small(('pages = ["json://127.0.0.1:9000/aki"]', bare)), {})
    assert found["person[aki].pages"].right == "write pages = [...]"
    assert "9000" not in str(found)
