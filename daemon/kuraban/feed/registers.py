"""From Modbus registers to a value: the standard says how a register goes over the line, and every
maker decides anew in which order the bytes of a longer number stand in two of them."""

from __future__ import annotations

import math
import struct
from collections.abc import Sequence
from typing import Final, get_args

from kuraban.settings.feed_settings import Order, Shape, Value

ORDERS: Final[tuple[Order, ...]] = get_args(Order)
_FORMS: Final = {
    "int16": ">h", "uint16": ">H", "int32": ">i", "uint32": ">I", "float32": ">f", "bit": ">H",
}  # fmt: skip


def count_of(value: Value) -> int:
    """Registers that it takes."""
    return struct.calcsize(_FORMS[value.type]) // 2 if value.kind in ("holding", "input") else 1


def number_of(registers: Sequence[int], shape: Shape, order: Order) -> float:
    """The number in one or two registers; `order` says where its bytes A (highest) to D stand."""
    raw = b"".join(struct.pack(">H", register) for register in registers)
    spelled = order if len(raw) == 4 else order[:2] if order[:2] in ("AB", "BA") else order[2:]
    ordered = bytes(raw[spelled.index(letter)] for letter in sorted(spelled))
    return float(struct.unpack(_FORMS[shape], ordered)[0])


def value_of(registers: Sequence[int], value: Value) -> float | bool:
    """What the registers (coils, contacts) of a value say; ValueError where that is no number."""
    if value.kind in ("coil", "contact"):
        return bool(registers[0]) != value.inverted
    number = number_of(registers, value.type, value.order)
    if value.bit is not None:
        return bool(int(number) >> value.bit & 1) != value.inverted
    if not math.isfinite(number):
        raise ValueError("the registers hold no number; is the order of the bytes right?")
    return round(number * value.scale, 6)
