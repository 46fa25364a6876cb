"""The file of a feed: its tables, what must hold between them, and the settings they come to."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Annotated, Any

from pydantic import BeforeValidator, Field

from kuraban.edges.modbus import Kind, Parity
from kuraban.errors import ConfigurationError, Fault
from kuraban.settings.feed_settings import Command, FeedSettings, Line, Order, Shape, Value, Wire
from kuraban.settings.files.faults import validate
from kuraban.settings.files.sources import read_toml
from kuraban.settings.files.tables import Address, MqttTable, Table
from kuraban.settings.files.values import (
    Id,
    Pointer,
    SomeTime,
    Words,
    nearest,
    number,
    refuse,
    show,
)
from kuraban.settings.reading import mqtt_of
from kuraban.settings.secrets import reader, resolve, unasked

ROWS = ("wire", "value", "command")
"""The tables of which each row is a probe."""


def _scale(value: object) -> float:
    figure = number(value)
    if not figure:
        raise refuse("0 makes every value 0", "write what one step is, such as 0.1")
    return figure


def _rom(value: object) -> str:
    if not isinstance(value, str) or not re.fullmatch(r"[0-9a-f]{2}-[0-9a-f]{12}", value):
        right = "write it as `kuraban feed look` shows it, such as 28-0316a2794f1e"
        raise refuse(f"{show(value)} is no number of a 1-wire probe", right)
    return value


class FeedTable(Table):
    every: SomeTime = 60.0
    """How often every value is read."""
    one_wire: Address = "/sys/bus/w1/devices"
    """Folder in which the kernel shows what hangs on the 1-wire bus."""
    buffer: Address = "feed.buffer"
    """File of what was not sent yet; relative to this file."""
    keep: Annotated[int, Field(ge=1000, le=10_000_000)] = 1_000_000
    """Readings that wait at most; beyond it the oldest are dropped."""


class FeedMqtt(MqttTable):
    client_id: Words = "kuraban-feed"
    turn: SomeTime = 5.0
    """How long readings are gathered before they are written and sent."""


class WireTable(Table):
    id: Id
    rom: Annotated[str, BeforeValidator(_rom)]


class LineTable(Table):
    id: Id
    device: Address | None = None
    baud: Annotated[int, Field(ge=300, le=1_000_000)] = 19200
    parity: Parity = "even"
    host: Address | None = None
    port: Annotated[int, Field(ge=1, le=65535)] = 502
    timeout: SomeTime = 1.0


class ValueTable(Table):
    id: Id
    line: Id
    unit: Annotated[int, Field(ge=0, le=255)]
    address: Annotated[int, Field(ge=0, le=65535)]
    kind: Kind = "holding"
    type: Shape = "int16"
    bit: Annotated[int, Field(ge=0, le=15)] | None = None
    order: Order = "ABCD"
    scale: Annotated[float, BeforeValidator(_scale)] = 1.0
    inverted: bool = False


class CommandTable(Table):
    id: Id
    run: Annotated[tuple[Address, ...], Field(min_length=1)]
    pointer: Pointer | None = None
    timeout: SomeTime = 10.0


class FeedFile(Table):
    mqtt: FeedMqtt = FeedMqtt()
    feed: FeedTable = FeedTable()
    wire: tuple[WireTable, ...] = ()
    line: tuple[LineTable, ...] = ()
    value: tuple[ValueTable, ...] = ()
    command: tuple[CommandTable, ...] = ()


def read_feed(
    path: Path, env: Mapping[str, str] | None = None, *, secrets: bool = True
) -> FeedSettings:
    """The settings in a feed's file; ConfigurationError holds every fault of it.

    Without `secrets` no file with one is read; whoever uses none need not be allowed to.
    """
    faults: list[Fault] = []
    raw = read_toml(path, faults)
    if raw is None:
        raise ConfigurationError(faults)
    folder = path.resolve().parent
    read = reader(folder, os.environ if env is None else env) if secrets else unasked
    raw = resolve(raw, read, str(path), faults)
    table = validate(FeedFile, raw, lambda _: str(path), faults)
    if table is not None:
        faults.extend(Fault(str(path), *found) for found in _between(table))
    if table is None or faults:
        raise ConfigurationError(faults)
    return FeedSettings(
        mqtt=mqtt_of(table.mqtt, folder),
        buffer=folder / table.feed.buffer,
        every=table.feed.every,
        keep=table.feed.keep,
        one_wire=folder / table.feed.one_wire,
        wires=tuple(Wire(**row.model_dump()) for row in table.wire),
        lines=tuple(Line(**row.model_dump()) for row in table.line),
        values=tuple(Value(**row.model_dump()) for row in table.value),
        commands=tuple(Command(**row.model_dump()) for row in table.command),
    )


Found = Iterator[tuple[str, str, str]]


def _between(file: FeedFile) -> Found:
    """Key, what is wrong and what would be right."""
    yield from _twice(file)
    for line in file.line:
        if (line.device is None) == (line.host is None):
            both = "both device and host are given" if line.device else "neither device nor host"
            right = 'RTU has device = "/dev/ttyUSB0", TCP has host = "192.168.1.40"'
            yield f"line[{line.id}]", both, right
    known = [line.id for line in file.line]
    for value in file.value:
        key = f"value[{value.id}]"
        if value.line not in known:
            right = nearest(value.line, known, f'write a table [[line]] with id = "{value.line}"')
            yield f"{key}.line", f'there is no line "{value.line}"', right
        yield from _as_bit(key, value)


def _twice(file: FeedFile) -> Found:
    seen: dict[str, str] = {}
    tables: dict[str, tuple[Any, ...]] = {name: getattr(file, name) for name in ROWS}
    for name, rows in tables.items():
        for row in rows:
            if row.id in seen:
                wrong = f'"{row.id}" is there already, in [[{seen[row.id]}]]'
                yield f"{name}[{row.id}].id", wrong, "each probe has one place"
            seen[row.id] = name
    lines = [line.id for line in file.line]
    for own in sorted({own for own in lines if lines.count(own) > 1}):
        yield f"line[{own}].id", f'"{own}" is there twice', "name each line differently"


def _as_bit(key: str, value: ValueTable) -> Found:
    alone = value.kind in ("coil", "contact")
    if value.type == "bit" and value.bit is None and not alone:
        yield f"{key}.bit", "is missing", "say which bit of the register, 0 to 15 from the lowest"
    if value.bit is not None and (alone or value.type != "bit"):
        right = "leave it out" if alone else 'write type = "bit"'
        yield f"{key}.bit", f"a {value.kind} of type {value.type} has none", right
    if value.inverted and not alone and value.type != "bit":
        right = "only a bit, coil or contact can be turned over"
        yield f"{key}.inverted", f"{value.type} is a number", right
