"""What a decoded document says of one probe: its value, and when it was.

A port is what must be known of a probe on one topic. A document that it hears becomes samples,
with a reason in place of each element that says nothing; a sample becomes the value that counts.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from math import isfinite
from typing import NamedTuple

import msgspec

from kuraban.core.intake import senml
from kuraban.core.intake.payload import follow, is_number, kind_word, pointer_of, show, untwice
from kuraban.core.site import SIGNALS, TEMPERATURES, Probe, Scale
from kuraban.core.units import parse_time

BUS_CODES = frozenset({-127.0, 127.9375, 127.94})
"""°C that a one-wire bus reports for a lost or starved probe: no measurement (common practice)."""

MOST = 10_000
"""Readings that are taken of one message: a week of them, one a minute."""

_CELSIUS = (-40.0, 110.0, "°C")
_RANGES: dict[str, tuple[float, float, str]] = {
    "humidity": (0.0, 100.0, "%"),
    "power": (0.0, 100_000.0, "W"),
}
_SENML_UNIT = {"°C": "Cel", "%": "%RH", "W": "W"}


class Port(msgspec.Struct, frozen=True, kw_only=True):
    """What the door must know of a probe on one topic."""

    probe: str
    measures: str
    offset: float
    low: float
    high: float
    unit: str
    signal: bool
    codes: frozenset[float]
    scale: Scale | None = None
    factor: float = 1.0
    pointer: tuple[str, ...] | None
    at_pointer: tuple[str, ...] | None
    others: frozenset[str] = frozenset()
    """Further probes that speak on the same topic."""

    @property
    def converts(self) -> bool:
        """Whether its bare numbers are sent in another unit than the one that it measures in."""
        return self.scale not in (None, "°C") or self.factor != 1.0


class Sample(NamedTuple):
    """A value as sent, and its sender's time if it gave one that means something when kept."""

    value: object
    name: str
    sent: float | None
    dated: bool
    """False for a time that a broker's keeping of the message would falsify."""


class Wild(ValueError):
    """A bus error code."""


def port_of(probe: Probe, together: frozenset[str]) -> Port:
    signal = probe.measures in SIGNALS
    low, high, unit = (0.0, 1.0, "") if signal else _RANGES.get(probe.measures, _CELSIUS)
    try:
        pointer = pointer_of(probe.pointer) if probe.pointer is not None else None
        at_pointer = pointer_of(probe.at_pointer) if probe.at_pointer is not None else None
    except ValueError as wrong:
        raise ValueError(f"probe {probe.id}: {wrong}") from None
    return Port(
        probe=probe.id,
        measures=probe.measures,
        offset=0.0 if signal else probe.offset,
        low=low,
        high=high,
        unit=unit,
        signal=signal,
        codes=BUS_CODES if probe.measures in TEMPERATURES else frozenset(),
        pointer=pointer,
        at_pointer=at_pointer,
        others=together - {probe.id},
        scale=probe.unit,
        factor=probe.factor,
    )


Records = list[senml.Record | str]


def records_of(document: object, now: float) -> Records | ValueError | None:
    """The records of a SenML pack, or what spoils it; None where the document is none."""
    if not isinstance(document, list) or not senml.is_pack(document):
        return None
    try:
        return senml.resolve(document[:MOST], now)
    except ValueError as wrong:
        return wrong


def samples(
    port: Port, document: object, records: Records | ValueError | None
) -> Iterator[Sample | ValueError]:
    """What a document says of one probe, a reason in place of each element that says nothing.

    Of a list the first `MOST` elements; one reason stands for all that come after them.
    """
    if port.pointer is not None:
        yield _attempt(_pointed, port, document)
        return
    if not isinstance(document, list):
        yield _attempt(_plain, port, document)
        return
    if len(document) > MOST:
        yield ValueError(
            f"the list has {len(document)} elements, of which the first {MOST} are read; "
            "send them in parts"
        )
    if isinstance(records, ValueError):
        yield records
    elif records is not None:
        yield from _packed(port, records)
    elif not document:
        yield ValueError("the list is empty; send the readings in it")
    else:
        for position, element in enumerate(document[:MOST], 1):
            yield _placed(_attempt(_listed, port, element), position)


def _attempt(
    read: Callable[[Port, object], Sample], port: Port, element: object
) -> Sample | ValueError:
    try:
        return read(port, untwice(element))
    except ValueError as wrong:
        return wrong


def _placed(sample: Sample | ValueError, position: int) -> Sample | ValueError:
    """The same, its place in the list named where something is wrong with it."""
    if isinstance(sample, ValueError):
        return ValueError(f"element {position}: {sample}")
    return sample._replace(name=f"element {position}: {sample.name}")


def _plain(port: Port, document: object) -> Sample:
    if not isinstance(document, dict):
        return Sample(_converted(port, document), "value", None, True)
    if "value" not in document:
        if senml.is_pack([document]):
            raise ValueError('a SenML record stands in a list; send [{"n": ..., "v": ...}]')
        raise ValueError('there is no member "value"; send {"value": 10.46}')
    value = _converted(port, untwice(document["value"]))
    return Sample(value, "value", _time(document.get("at"), "at"), True)


def _listed(port: Port, element: object) -> Sample:
    if not isinstance(element, dict):
        raise ValueError(f'{kind_word(element)} is no reading; send {{"value": 10.46, "at": ...}}')
    return _plain(port, element)


def _pointed(port: Port, document: object) -> Sample:
    name = _spelled(port.pointer or ())
    try:
        value = follow(document, port.pointer or ())
    except LookupError:
        raise ValueError(f"there is nothing at {name}, where probe {port.probe} points") from None
    try:
        at = follow(document, port.at_pointer) if port.at_pointer is not None else None
    except LookupError:
        at = None
    at_name = _spelled(port.at_pointer or ())
    return Sample(_converted(port, value), name, _time(at, at_name), True)


def _spelled(pointer: tuple[str, ...]) -> str:
    return "".join("/" + part for part in pointer) or "value"


def _time(at: object, name: str) -> float | None:
    if at is None:
        return None
    try:
        return parse_time(at)
    except ValueError as wrong:
        raise ValueError(f"{name}: {wrong}") from None


def _packed(port: Port, records: Records) -> Iterator[Sample | ValueError]:
    for position, record in enumerate(records, 1):
        if isinstance(record, str):
            yield _placed(ValueError(record), position)
        elif record.name not in port.others:
            try:
                value = _in_units(port, record)
                yield Sample(value, f"record {position}", record.time, not record.relative)
            except ValueError as wrong:
                yield _placed(wrong, position)


def _in_units(port: Port, record: senml.Record) -> object:
    """The record's value in the unit that its probe measures in."""
    if record.name != port.probe:
        raise ValueError(f"name is {show(record.name)}; on this topic speaks {port.probe}")
    if isinstance(record.value, bool):
        return record.value
    if record.unit is None:
        return _converted(port, record.value)
    if record.unit == "K" and port.unit == "°C" and isinstance(record.value, float):
        return celsius(record.value, "K")
    right = _SENML_UNIT.get(port.unit, "none")
    if record.unit != right:
        raise ValueError(f"unit {show(record.unit)} is not for {port.measures}; {right} is right")
    return record.value


def _converted(port: Port, value: object) -> object:
    """A bare number in the unit that its probe measures in; whatever is no number as it is."""
    if not port.converts or isinstance(value, bool) or not isinstance(value, (int, float)):
        return value
    return celsius(value * port.factor, port.scale)


def celsius(value: float, scale: Scale | None) -> float:
    """BIPM SI brochure (2019) for K, NIST SP 811 (2008) appendix B.9 for °F, both from memory."""
    if scale == "K":
        value -= 273.15
    elif scale == "°F":
        value = (value - 32.0) / 1.8
    return round(value, 6)


def value_of(port: Port, sample: Sample) -> float:
    """The value that counts: a number, its probe's offset added, that the measure can be."""
    raw = _number(port, sample.value, sample.name)
    if raw in port.codes:
        raise Wild(f"{sample.name} {raw:g} is an error code of the sensor bus, no temperature")
    if not isfinite(raw):
        raise ValueError(f"{sample.name} is {raw:g}; send a finite number")
    value = raw + port.offset
    if not port.low <= value <= port.high:
        shown = f"{show(value)} {port.unit}" + (" with its offset" if port.offset else "")
        span = f"{port.low:g} to {port.high:g} {port.unit}"
        raise ValueError(f"{sample.name} is {shown}; {port.measures} can be {span}")
    return value


def _number(port: Port, value: object, name: str) -> float:
    if port.signal:
        if isinstance(value, (bool, int, float)) and value in (0, 1):
            return float(value)
        raise ValueError(f"{name} of {port.measures} is {show(value)}; send true or false")
    if isinstance(value, bool):
        raise ValueError(f"{name} is {show(value)}; {port.measures} is a number")
    if isinstance(value, (int, float)):
        return float(value)
    if isinstance(value, str) and is_number(value):
        raise ValueError(f"{name} is a text; send the number {value.strip()} without quotes")
    shown = f"the text {show(value)}" if isinstance(value, str) else kind_word(value)
    raise ValueError(f"{name} is {shown}; send a number such as 10.46")
