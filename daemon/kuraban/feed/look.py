"""What hangs on a bus, before anything has a name: lines for a person with a screwdriver."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from pathlib import Path

from kuraban.edges.modbus import Kind, Master, NoAnswer, Refused
from kuraban.feed.buses import Silent, celsius
from kuraban.feed.registers import ORDERS, number_of

HEAD = "address, hex, int16 (its bytes swapped); with the next one, for each order: int32 float32"
KINDS: tuple[Kind, ...] = ("holding", "input", "coil", "contact")


def on_one_wire(folder: Path, names: dict[str, str]) -> Iterator[str]:
    """Each probe that the kernel has found, with its value and the id that it has already."""
    found = sorted(folder.glob("[0-9a-f][0-9a-f]-*"))
    if not found:
        yield "nothing hangs there, or the kernel does not drive the bus"
    for probe in found:
        try:
            shown = f"{celsius(probe):8.3f} °C"
        except Silent as why:
            shown = str(why)
        yield f"{probe.name}  {shown}  {names.get(probe.name, '(no name yet)')}"


def answering(master: Master, units: Iterable[int]) -> Iterator[str]:
    """Each unit that answers, whatever it says."""
    silent = True
    for unit in units:
        try:
            register = master.read(unit, "holding", 0)[0]
            yield f"unit {unit:3d} answers; its holding register 0 is {register}"
        except Refused:
            yield f"unit {unit:3d} answers; it has no holding register 0"
        except NoAnswer:
            continue
        silent = False
    if silent:
        yield "no unit answers; are speed, parity and the two wires right?"


def registers(master: Master, unit: int, kind: Kind, addresses: range) -> Iterator[str]:
    """Each register as a number, and with the next one in all four orders of the bytes: the row in
    which the display's figure stands says which type and order is right."""
    if kind in ("holding", "input"):
        yield HEAD
    raw = [_one(master, unit, kind, address) for address in addresses]
    for address, one, after in zip(addresses, raw, [*raw[1:], None], strict=True):
        if isinstance(one, str):
            yield f"{address:5d}  {one}"
        elif kind in ("coil", "contact"):
            yield f"{address:5d}  {'true' if one else 'false'}"
        else:
            yield f"{address:5d}  {one:04x}  {_numbers(one, after)}"


def _one(master: Master, unit: int, kind: Kind, address: int) -> int | str:
    try:
        return master.read(unit, kind, address)[0]
    except (Refused, NoAnswer) as why:
        return str(why)


def _numbers(one: int, after: int | str | None) -> str:
    single = f"{number_of([one], 'int16', 'ABCD'):g} ({number_of([one], 'int16', 'BADC'):g})"
    if not isinstance(after, int):
        return single
    pair = [one, after]
    longer = (
        f"{order} {number_of(pair, 'int32', order):.0f} {number_of(pair, 'float32', order):.6g}"
        for order in ORDERS
    )
    return f"{single}  {'; '.join(longer)}"
