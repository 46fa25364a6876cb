"""What a board's document says of one probe."""

from __future__ import annotations

from kuraban.core.intake.payload import json_of
from kuraban.core.intake.reading_decoder import (
    MOST,
    Port,
    Sample,
    port_of,
    records_of,
    samples,
    value_of,
)
from kuraban.core.site import Probe
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
