"""SenML packs come apart as RFC 8428 says."""

from __future__ import annotations

import json

import pytest

from kuraban.core.intake.senml import RELATIVE, Record, is_pack, resolve

NOW = 1769883000.0


def records(text: str) -> list[Record]:
    found = resolve(json.loads(text), NOW)
    assert all(isinstance(record, Record) for record in found), found
    return [record for record in found if isinstance(record, Record)]


def reason(text: str) -> str:
    (found,) = resolve(json.loads(text), NOW)
    assert isinstance(found, str)
    return found


# RFC 8428 (Jennings et al. 2018), section 5.1.1
SINGLE = '[{"n":"urn:dev:ow:10e2073a01080063","u":"Cel","v":23.1}]'
# section 5.1.2
NOW_ONLY = """[{"bn":"urn:dev:ow:10e2073a01080063:","n":"voltage","u":"V","v":120.1},
 {"n":"current","u":"A","v":1.2}]"""
EACH_SECOND = """[{"bn":"urn:dev:ow:10e2073a0108006:","bt":1.276020076001e+09,"bu":"A","bver":5,
 "n":"voltage","u":"V","v":120.1},{"n":"current","t":-5,"v":1.2},{"n":"current","t":-4,"v":1.3},
 {"n":"current","t":-3,"v":1.4},{"n":"current","t":-2,"v":1.5},{"n":"current","t":-1,"v":1.6},
 {"n":"current","v":1.7}]"""
# section 5.1.3
MOBILE = """[{"bn":"urn:dev:ow:10e2073a01080063","bt":1.320067464e+09,"bu":"%RH","v":20},
 {"u":"lon","v":24.30621},{"u":"lat","v":60.07965},{"t":60,"v":20.3},
 {"u":"lon","t":60,"v":24.30622},{"u":"lat","t":60,"v":60.07965},{"t":120,"v":20.7},
 {"u":"lon","t":120,"v":24.30623},{"u":"lat","t":120,"v":60.07966},{"u":"%EL","t":150,"v":98},
 {"t":180,"v":21.2},{"u":"lon","t":180,"v":24.30628},{"u":"lat","t":180,"v":60.07967}]"""
# section 5.1.5
TYPES = """[{"bn":"urn:dev:ow:10e2073a01080063:","n":"temp","u":"Cel","v":23.1},
 {"n":"label","vs":"Machine Room"},{"n":"open","vb":false},{"n":"nfc-reader","vd":"aGkgCg"}]"""
# section 5.1.6
COLLECTION = """[{"bn":"2001:db8::2/","bt":1.320078429e+09,"n":"temperature","u":"Cel","v":25.2},
 {"n":"humidity","u":"%RH","v":30},
 {"bn":"2001:db8::1/","n":"temperature","u":"Cel","v":12.3},{"n":"humidity","u":"%RH","v":67}]"""


def test_a_single_value_was_taken_about_now() -> None:
    (record,) = records(SINGLE)  # RFC 8428, 5.1.1
    assert record == Record("urn:dev:ow:10e2073a01080063", "Cel", 23.1, None, True)


def test_values_without_a_time_have_none() -> None:
    voltage, current = records(NOW_ONLY)  # RFC 8428, 5.1.2
    assert (voltage.name[-8:], voltage.unit, voltage.value) == (":voltage", "V", 120.1)
    assert current == Record("urn:dev:ow:10e2073a01080063:current", "A", 1.2, None, True)


def test_times_count_from_the_base_time_and_the_base_unit_stands_in() -> None:
    found = records(EACH_SECOND)  # RFC 8428, 5.1.2, second pack
    assert [record.unit for record in found] == ["V"] + ["A"] * 6
    assert [record.value for record in found] == [120.1, 1.2, 1.3, 1.4, 1.5, 1.6, 1.7]
    assert [round(record.time - 1276020076.001) for record in found if record.time] == [
        0, -5, -4, -3, -2, -1, 0,
    ]  # fmt: skip
    assert not any(record.relative for record in found)


def test_a_mobile_device_resolves_to_the_published_records() -> None:
    found = records(MOBILE)  # RFC 8428, 5.1.3 resolved in 5.1.4
    start = 1320067464.0
    assert [(r.unit, r.time, r.value) for r in found] == [
        ("%RH", start, 20.0), ("lon", start, 24.30621), ("lat", start, 60.07965),
        ("%RH", start + 60, 20.3), ("lon", start + 60, 24.30622), ("lat", start + 60, 60.07965),
        ("%RH", start + 120, 20.7), ("lon", start + 120, 24.30623), ("lat", start + 120, 60.07966),
        ("%EL", start + 150, 98.0), ("%RH", start + 180, 21.2), ("lon", start + 180, 24.30628),
        ("lat", start + 180, 60.07967),
    ]  # fmt: skip
    assert {record.name for record in found} == {"urn:dev:ow:10e2073a01080063"}


def test_texts_truths_and_data_are_values_too() -> None:
    found = records(TYPES)  # RFC 8428, 5.1.5
    assert [record.value for record in found] == [23.1, "Machine Room", False, "aGkgCg"]


def test_a_new_base_name_leaves_the_base_time_standing() -> None:
    found = records(COLLECTION)  # RFC 8428, 5.1.6
    assert [record.name for record in found] == [
        "2001:db8::2/temperature", "2001:db8::2/humidity",
        "2001:db8::1/temperature", "2001:db8::1/humidity",
    ]  # fmt: skip
    assert {record.time for record in found} == {1320078429.0}


def test_a_small_time_counts_from_now_and_a_large_one_from_1970() -> None:
    """RFC 8428, 4.5.3: below 2**28 relative, at and above it absolute."""
    before, after, absolute = records(
        '[{"bn":"p","v":1,"t":-30},{"v":1,"t":30},{"v":1,"t":268435456}]'
    )
    assert (before.time, after.time, absolute.time) == (NOW - 30, NOW + 30, RELATIVE)
    assert before.relative and after.relative and not absolute.relative


def test_a_base_value_is_added() -> None:
    first, second = records('[{"bn":"p","bv":10,"v":0.4},{"v":-0.5}]')  # RFC 8428, 4.1
    assert (first.value, second.value) == (10.4, 9.5)


@pytest.mark.parametrize(
    ("pack", "words"),
    [
        ('[{"v":1}]', "bn and n together"),
        ('[{"n":"-p","v":1}]', "bn and n together"),
        ('[{"n":"a b","v":1}]', "bn and n together"),
        ('[{"n":"p"}]', "has no value"),
        ('[{"n":"p","s":5}]', "has no value"),
        ('[{"n":"p","bv":3,"s":5}]', "has no value"),
        ('[{"n":"p","v":1,"vb":true}]', "one value"),
        ('[{"n":"p","v":"1"}]', "SenML v is a text; send a number"),
        ('[{"n":"p","v":true}]', "SenML v is true; send a number"),
        ('[{"n":"p","v":NaN}]', "SenML v is nan; send a number"),
        ('[{"n":"p","vb":1}]', "SenML vb is a number; send true or false"),
        ('[{"n":7,"v":1}]', "SenML n is a number; send a text"),
        ("[5]", "an object, not a number"),
    ],
)
def test_a_bad_record_is_told_why(pack: str, words: str) -> None:
    assert words in reason(pack)


@pytest.mark.parametrize(
    ("pack", "words"),
    [
        ('[{"n":"p","v":1,"must_":1}]', '"must_" must be understood'),  # RFC 8428, 4.4
        ('[{"n":"p","v":1,"bver":11}]', "version 11 is not known"),  # RFC 8428, 4.4
        ('[{"n":"p","v":1,"bver":0}]', "version 0 is not known"),
        ('[{"n":"p","v":1,"bver":true}]', "SenML bver is true"),
        ('[{"bn":7,"v":1}]', "SenML bn is a number"),
        ('[{"bn":"p","bt":"now","v":1}]', "SenML bt is a text"),
    ],
)
def test_a_fault_that_touches_every_record_spoils_the_pack(pack: str, words: str) -> None:
    with pytest.raises(ValueError, match=r".+") as raised:
        resolve(json.loads(pack), NOW)
    assert words in str(raised.value)


def test_a_label_that_nobody_knows_is_passed_over() -> None:
    (record,) = records('[{"n":"p","v":1,"battery":3}]')  # RFC 8428, 4.4
    assert record.value == 1.0


def test_plain_objects_are_no_pack() -> None:
    assert is_pack([{"bn": "p"}, 7])
    assert not is_pack([{"value": 1, "u": "Cel"}])
    assert not is_pack([7, {}])
