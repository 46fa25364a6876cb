"""What the settings of a feed come to: where the broker is, and which value hangs on which bus."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from kuraban.edges.modbus import Kind, Parity
from kuraban.settings.model import Mqtt

Shape = Literal["int16", "uint16", "int32", "uint32", "float32", "bit"]
Order = Literal["ABCD", "CDAB", "BADC", "DCBA"]


@dataclass(frozen=True, slots=True)
class Wire:
    """A 1-wire probe; `rom` is its number as the kernel names its folder."""

    id: str
    rom: str


@dataclass(frozen=True, slots=True)
class Line:
    """A Modbus line: RTU on a `device`, or TCP to a `host`; `timeout` in seconds."""

    id: str
    device: str | None = None
    baud: int = 19200
    parity: Parity = "even"
    host: str | None = None
    port: int = 502
    timeout: float = 1.0


@dataclass(frozen=True, slots=True)
class Value:
    """One probe's value in a Modbus unit.

    `order` says how its bytes stand on the line, A being the highest; `scale` is what one step is.
    """

    id: str
    line: str
    unit: int
    address: int
    kind: Kind = "holding"
    type: Shape = "int16"
    bit: int | None = None
    order: Order = "ABCD"
    scale: float = 1.0
    inverted: bool = False


@dataclass(frozen=True, slots=True)
class Command:
    """A program whose output is a value: its first number, or what `pointer` finds in its JSON."""

    id: str
    run: tuple[str, ...]
    pointer: str | None = None
    timeout: float = 10.0


@dataclass(frozen=True, slots=True)
class FeedSettings:
    """Everything that was configured; `every` in seconds, `keep` in readings."""

    mqtt: Mqtt
    buffer: Path
    every: float = 60.0
    keep: int = 1_000_000
    one_wire: Path = Path("/sys/bus/w1/devices")
    wires: tuple[Wire, ...] = ()
    lines: tuple[Line, ...] = ()
    values: tuple[Value, ...] = ()
    commands: tuple[Command, ...] = ()
