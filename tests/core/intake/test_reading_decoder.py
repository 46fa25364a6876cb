"""What a board's document says of one probe."""

from __future__ import annotations

import msgspec
import pytest

from kuraban.core.intake.payload import json_of
from kuraban.core.intake.reading_decoder import (
    MOST,
    Port,
    Sample,
    Wild,
    port_of,
    records_of,
    samples,
    value_of,
)
from kuraban.core.site import Probe, Scale
from tests.corpus import HOUSE, NOW


def port(name: str) -> Port:
    return port_of(HOUSE.probe[name], frozenset({name}))


def told(name: str, text: str) -> list[Sample | str]:
    document = json_of(text)
    found = samples(port(name), document, records_of(document, NOW))
    return [str(sample) if isinstance(sample, ValueError) else sample for sample in found]


def test_a_contact_has_no_offset_and_two_values() -> None:
    switch = port_of(Probe(id="x", of="tank-3", measures="pump", offset=0.5), frozenset({"x"}))
    assert value_of(switch, Sample(True, "value", None, True)) == 1.0


def test_the_range_holds_after_the_offset() -> None:
    warm = port_of(Probe(id="x", of="tank-3", measures="product", offset=1.0), frozenset({"x"}))
    assert value_of(warm, Sample(-41.0, "value", None, True)) == -40.0


def test_an_object_says_one_thing_and_a_list_many() -> None:
    assert told("t3-mid", '{"value":1,"at":5}') == [Sample(1, "value", 5.0, True)]
    assert told("t3-mid", '[{"value":1},{"at":5}]') == [
        Sample(1, "element 1: value", None, True),
        'element 2: there is no member "value"; send {"value": 10.46}',
    ]


def test_a_list_is_read_up_to_its_ten_thousandth_element() -> None:
    """A week by the minute in one message; a longer list is told to come in parts."""
    week = ",".join('{"value":1}' for _ in range(MOST))
    assert all(isinstance(sample, Sample) for sample in told("t3-mid", f"[{week}]"))
    beyond, *taken = told("t3-mid", f'[{week},{{"value":2}}]')
    assert beyond == (
        "the list has 10001 elements, of which the first 10000 are read; send them in parts"
    )
    assert len(taken) == MOST and isinstance(taken[-1], Sample) and taken[-1].value == 1
    record = '{"n":"t3-mid","v":1}'
    beyond, *taken = told("t3-mid", f"[{','.join([record] * (MOST + 2))}]")
    assert "10002 elements" in str(beyond) and len(taken) == MOST


def test_a_time_counted_from_now_is_none_to_keep() -> None:
    (sample,) = told("t3-mid", '[{"n":"t3-mid","v":1,"t":-5}]')
    assert sample == Sample(1.0, "record 1", NOW - 5, False)


def test_a_pointer_without_a_time_is_heard_now() -> None:
    (sample,) = told("bed-a", '{"probes":[{"celsius":33}]}')
    assert sample == Sample(33, "/probes/0/celsius", None, True)


def value(measures: str, raw: object, **probe: object) -> float | str:
    """What counts of a value that a probe of this kind sends, or why nothing does."""
    made = msgspec.convert({"id": "x", "of": "tank-3", "measures": measures, **probe}, Probe)
    try:
        return value_of(port_of(made, frozenset({"x"})), Sample(raw, "value", None, True))
    except ValueError as wrong:
        return str(wrong)


@pytest.mark.parametrize(
    ("measures", "lowest", "highest", "beyond"),
    [
        ("product", -40, 110, "product can be -40 to 110 °C"),
        ("air", -40, 110, "air can be -40 to 110 °C"),
        ("humidity", 0, 100, "humidity can be 0 to 100 %"),
        ("power", 0, 100_000, "power can be 0 to 100000 W"),
    ],
)
def test_a_value_is_one_that_its_measure_can_have(
    measures: str, lowest: float, highest: float, beyond: str
) -> None:
    assert value(measures, lowest) == lowest and value(measures, highest) == highest
    for raw in (lowest - 0.1, highest + 0.1):
        assert beyond in str(value(measures, raw)) and "offset" not in str(value(measures, raw))
    assert "with its offset" in str(value(measures, highest, offset=0.5))


@pytest.mark.parametrize("code", [-127.0, 127.9375, 127.94])
def test_an_error_code_of_the_bus_is_no_temperature(code: float) -> None:
    made = port_of(Probe(id="x", of="tank-3", measures="product"), frozenset({"x"}))
    with pytest.raises(Wild, match="is an error code of the sensor bus"):
        value_of(made, Sample(code, "value", None, True))
    drawn = port_of(Probe(id="x", of="tank-3", measures="power"), frozenset({"x"}))
    if code > 0:
        assert value_of(drawn, Sample(code, "value", None, True)) == code


@pytest.mark.parametrize(
    ("raw", "words"),
    [
        (True, "value is true; product is a number"),
        ("10.4", "value is a text; send the number 10.4 without quotes"),
        ("warm", 'value is the text "warm"; send a number'),
        (None, "value is null; send a number"),
        (float("nan"), "value is nan; send a finite number"),
        (float("inf"), "value is inf; send a finite number"),
    ],
)
def test_what_is_no_number_is_told_what_would_be(raw: object, words: str) -> None:
    assert words in str(value("product", raw))


@pytest.mark.parametrize(
    ("raw", "says"), [(True, 1.0), (False, 0.0), (1, 1.0), (0.0, 0.0), (2, None), ("1", None)]
)
def test_a_contact_is_on_or_off(raw: object, says: float | None) -> None:
    told = value("valve", raw)
    assert told == says if says is not None else "send true or false" in str(told)


@pytest.mark.parametrize(
    ("record", "counts"),
    [
        ('"u":"Cel","v":10.5', 10.5),
        ('"u":"K","v":283.65', 10.5),
        ('"v":10.5', 10.5),
        ('"u":"%RH","v":10.5', 'element 1: unit "%RH" is not for product; Cel is right'),
        ('"u":"K","vs":"warm"', 'element 1: unit "K" is not for product; Cel is right'),
        ('"u":"K","vb":true', True),
    ],
)
def test_a_record_comes_in_its_probes_unit(record: str, counts: object) -> None:
    """Kelvin of a temperature, and no other unit, is brought to degrees Celsius."""
    (found,) = told("t3-mid", f'[{{"n":"t3-mid",{record}}}]')
    assert (found.value if isinstance(found, Sample) else found) == counts


def test_kelvin_of_a_humidity_is_none() -> None:
    damp = port_of(Probe(id="x", of="tank-3", measures="humidity"), frozenset({"x"}))
    pack = json_of('[{"n":"x","u":"K","v":283.15},{"n":"x","u":"%RH","v":60}]')
    wrong, right = samples(damp, pack, records_of(pack, NOW))
    assert 'unit "K" is not for humidity; %RH is right' in str(wrong)
    assert isinstance(right, Sample) and right.value == 60


def test_a_pack_is_of_the_probes_that_speak_on_its_topic() -> None:
    """Another's record is theirs; a stranger's is told so."""
    both = port_of(HOUSE.probe["t3-mid"], frozenset({"t3-mid", "t3-low"}))
    pack = json_of('[{"n":"t3-low","v":1},{"n":"t3-mid","v":2,"t":-5},{"n":"t9","v":3}]')
    mine, strange = samples(both, pack, records_of(pack, NOW))
    assert mine == Sample(2.0, "record 2", NOW - 5, False)
    assert str(strange) == 'element 3: name is "t9"; on this topic speaks t3-mid'


def test_a_record_with_a_time_of_its_own_is_dated() -> None:
    (found,) = told("t3-mid", f'[{{"n":"t3-mid","v":1,"t":{NOW - 60}}}]')
    assert found == Sample(1.0, "record 1", NOW - 60, True)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[]", "the list is empty"),
        ("[5]", "element 1: a number is no reading"),
        ('{"n":"t3-mid","v":1}', "a SenML record stands in a list"),
        ('{"celsius":1}', 'there is no member "value"'),
        ('{"value":1,"at":"noon"}', "at: 'noon' is not a time"),
        ('{"value":1,"value":2}', '"value" is there twice'),
        ('[{"n":"t3-mid","v":1,"bver":11}]', "version 11 is not known"),
    ],
)
def test_a_document_without_a_reading_says_what_would_be_one(text: str, words: str) -> None:
    (found,) = told("t3-mid", text)
    assert words in str(found)


def test_a_pointer_finds_its_value_and_its_time() -> None:
    probe = Probe(id="x", of="tank-3", measures="product", pointer="/a/0", at_pointer="/when")
    pointed = port_of(probe, frozenset({"x"}))
    for text, sent in (('{"a":[33],"when":5}', 5.0), ('{"a":[33]}', None)):
        assert list(samples(pointed, json_of(text), None)) == [Sample(33, "/a/0", sent, True)]
    (lost,) = samples(pointed, json_of('{"a":[]}'), None)
    assert str(lost) == "there is nothing at /a/0, where probe x points"
    (wrong,) = samples(pointed, json_of('{"a":[33],"when":"noon"}'), None)
    assert str(wrong).startswith("/when: 'noon'")


def test_a_pointer_that_is_none_is_told_with_its_probe() -> None:
    with pytest.raises(ValueError, match=r"^probe x: "):
        port_of(Probe(id="x", of="tank-3", measures="product", pointer="a"), frozenset())


@pytest.mark.parametrize(
    ("unit", "factor", "sent", "celsius"),
    [
        ("°F", 1.0, 50.0, 10.0),
        ("°F", 1.0, 212.0, 100.0),
        ("K", 1.0, 283.61, 10.46),
        (None, 0.1, 105, 10.5),
        ("°C", 0.1, -15, -1.5),
        ("°F", 0.1, 500, 10.0),
        ("K", 0.01, 28361, 10.46),
    ],
)
def test_a_bus_of_other_units_is_taken_in_celsius(
    unit: Scale | None, factor: float, sent: float, celsius: float
) -> None:
    """Ice point and boiling point of water, 32 and 212 °F, 273.15 K (SI brochure, 2019)."""
    probe = Probe(id="x", of="tank-3", measures="product", unit=unit, factor=factor, offset=0.25)
    reader = port_of(probe, frozenset({"x"}))
    for document in (sent, {"value": sent}):
        (sample,) = samples(reader, document, None)
        assert isinstance(sample, Sample) and value_of(reader, sample) == celsius + 0.25


def test_a_record_that_names_its_unit_is_believed_in_that() -> None:
    fahrenheit = port_of(
        Probe(id="x", of="tank-3", measures="product", unit="°F"), frozenset({"x"})
    )
    for pack, celsius in (('"u":"Cel","v":10.0', 10.0), ('"v":50.0', 10.0)):
        document = json_of(f'[{{"n":"x",{pack}}}]')
        (sample,) = samples(fahrenheit, document, records_of(document, NOW))
        assert isinstance(sample, Sample) and value_of(fahrenheit, sample) == celsius


@pytest.mark.parametrize(("unit", "factor", "sent"), [("°F", 1.0, -196.6), (None, 0.1, -1270)])
def test_a_bus_code_in_other_units_is_still_one(
    unit: Scale | None, factor: float, sent: float
) -> None:
    probe = Probe(id="x", of="tank-3", measures="product", unit=unit, factor=factor)
    reader = port_of(probe, frozenset({"x"}))
    (sample,) = samples(reader, sent, None)
    assert isinstance(sample, Sample)
    with pytest.raises(Wild):
        value_of(reader, sample)


def test_what_is_no_number_is_told_as_it_was_sent() -> None:
    reader = port_of(Probe(id="x", of="tank-3", measures="product", unit="°F"), frozenset({"x"}))
    (sample,) = samples(reader, "50", None)
    assert isinstance(sample, Sample)
    with pytest.raises(ValueError, match="send the number 50 without quotes"):
        value_of(reader, sample)
