"""Registers become values as the unit's manual says, however its maker laid the bytes."""

from __future__ import annotations

import struct

import pytest

from kuraban.feed.registers import ORDERS, count_of, number_of, value_of
from kuraban.settings.feed_settings import Order, Value

FLOAT = struct.unpack(">HH", struct.pack(">f", 10.46))
LAID: dict[Order, tuple[int, int]] = {
    "ABCD": (0x4127, 0x5C29), "CDAB": (0x5C29, 0x4127),
    "BADC": (0x2741, 0x295C), "DCBA": (0x295C, 0x2741),
}  # fmt: skip
"""10.46 as a float, as makers lay it."""


def value(**more: object) -> Value:
    return Value("c1-supply", "chillers", 3, 1, **more)  # type: ignore[arg-type]


@pytest.mark.parametrize("order", ORDERS)
def test_each_order_of_the_bytes_finds_its_number_and_no_other_does(order: Order) -> None:
    assert LAID["ABCD"] == FLOAT
    right = value(type="float32", order=order)
    assert count_of(right) == 2 and value_of(LAID[order], right) == 10.46
    for other in set(ORDERS) - {order}:
        found = number_of(LAID[order], "float32", other)
        assert abs(found - 10.46) > 0.5, "a wrong order shows"


@pytest.mark.parametrize(
    ("registers", "more", "expected"),
    [
        ([235], {"scale": 0.1}, 23.5),
        ([107], {"scale": 0.1}, 10.7),
        ([0xFFF6], {"scale": 0.1}, -1.0),
        ([0xF6FF], {"scale": 0.1, "order": "BADC"}, -1.0),
        ([0xFFF6], {"type": "uint16"}, 65526.0),
        ([0xFFFF, 0xFFFE], {"type": "int32"}, -2.0),
        ([0, 70], {"type": "uint32", "scale": 10}, 700.0),
        ([0b10100], {"type": "bit", "bit": 4}, True),
        ([0b10100], {"type": "bit", "bit": 3}, False),
        ([0b10100], {"type": "bit", "bit": 4, "inverted": True}, False),
        ([1], {"kind": "coil"}, True),
        ([1], {"kind": "contact", "inverted": True}, False),
    ],
)
def test_a_value_is_what_the_table_says(
    registers: list[int], more: dict[str, object], expected: float | bool
) -> None:
    found = value_of(registers, value(**more))
    assert found == expected and isinstance(found, bool) == isinstance(expected, bool)


def test_registers_that_hold_no_number_are_none() -> None:
    """Many makers send that for a broken probe, and a wrong order often comes to it."""
    with pytest.raises(ValueError, match="order of the bytes"):
        value_of([0x7FC0, 0], value(type="float32"))
