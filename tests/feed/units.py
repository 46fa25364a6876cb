"""Real Modbus units for the tests: pymodbus' own server over TCP, or RTU on a pair of terminals."""

from __future__ import annotations

import asyncio
import os
import select
import struct
import threading
import tty
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from pymodbus.server import ModbusSerialServer, ModbusTcpServer
from pymodbus.simulator import DataType, SimData, SimDevice

from kuraban.settings.feed_settings import Line
from tests.broker import free_port

SUPPLY = 235
"""Holding register 0: 23.5 °C in tenths."""
STATES = 0b100
"""Holding register 1: bit 2 says that it runs."""
AIR = 10.46
"""Holding registers 2 and 3, a float with its words swapped (CDAB)."""


class Bench:
    """Units 1 to `many`. Any of them can be made late or dead, and the line noisy, as they run."""

    def __init__(self, many: int = 2) -> None:
        self.late: dict[int, float] = {}
        self.dead: set[int] = set()
        self.noise = False
        self.asked: list[int] = []
        self.supply = dict.fromkeys(range(1, many + 1), SUPPLY)
        self._many = many

    def _device(self, unit: int) -> SimDevice:
        high, low = struct.unpack(">HH", struct.pack(">f", AIR))
        holding = [self.supply[unit], STATES, low, high]

        async def action(*_: Any) -> None:
            self.asked.append(unit)

        registers = [SimData(0, values=holding, datatype=DataType.REGISTERS)]
        bits = [SimData(0, values=[True, False] * 8, datatype=DataType.BITS)]
        return SimDevice(unit, (bits, bits, registers, registers), action=action)

    def spoilt(self, packet: bytes, unit: int) -> bytes:
        """What goes out of an answer on a serial line: nothing of a unit that is dead or was never
        there."""
        packet = self.unspoilt(packet, unit)
        return packet[:-1] + bytes([packet[-1] ^ 0x55]) if self.noise and packet else packet

    def unspoilt(self, packet: bytes, unit: int) -> bytes:
        """The same over TCP, which has no noise."""
        return b"" if unit in self.dead or unit > self._many else packet

    @property
    def devices(self) -> list[SimDevice]:
        return [self._device(unit) for unit in range(1, self._many + 1)]


@contextmanager
def over_tcp(bench: Bench, timeout: float = 0.3, port: int = 0) -> Iterator[Line]:
    """The units behind a TCP port; what is not there does not answer."""
    port = port or free_port()
    with _serving(lambda: ModbusTcpServer(
        bench.devices, address=("127.0.0.1", port),
        trace_packet=lambda out, packet: bench.unspoilt(packet, packet[6]) if out else packet,
    )):  # fmt: skip
        yield Line("chillers", host="127.0.0.1", port=port, timeout=timeout)


@contextmanager
def on_a_line(bench: Bench, timeout: float = 0.3) -> Iterator[Line]:
    """The units on a serial line, RTU."""
    with _wire(bench) as (theirs, ours), _serving(lambda: ModbusSerialServer(
        bench.devices, port=theirs, baudrate=19200,
        trace_packet=lambda out, packet: bench.spoilt(packet, packet[0]) if out else packet,
    )):  # fmt: skip
        yield Line("chillers", device=ours, parity="none", timeout=timeout)


@contextmanager
def _serving(make: Any) -> Iterator[None]:
    loop = asyncio.new_event_loop()
    server: list[Any] = []
    up = threading.Event()

    async def serve() -> None:
        server.append(make())
        await server[0].serve_forever(background=True)
        up.set()

    def run() -> None:
        asyncio.set_event_loop(loop)
        loop.run_until_complete(serve())
        loop.run_forever()

    thread = threading.Thread(target=run, daemon=True)
    thread.start()
    assert up.wait(10)
    try:
        yield
    finally:
        asyncio.run_coroutine_threadsafe(server[0].shutdown(), loop).result(10)
        loop.call_soon_threadsafe(loop.stop)
        thread.join(10)
        loop.close()


@contextmanager
def _wire(bench: Bench) -> Iterator[tuple[str, str]]:
    """Two terminals of which each hears what the other says; they know no parity."""
    ends = [os.openpty(), os.openpty()]
    for master, slave in ends:
        tty.setraw(master)
        tty.setraw(slave)
    (one, _), (other, _) = ends
    stop, wake = os.pipe()

    def pump() -> None:
        across = {one: other, other: one}
        while True:
            ready, _, _ = select.select([one, other, stop], [], [])
            if stop in ready:
                return
            for end in ready:
                said = os.read(end, 4096)
                wait = bench.late.get(said[0], 0.0) if end == one else 0.0
                if wait:
                    threading.Timer(wait, os.write, (across[end], said)).start()
                else:
                    os.write(across[end], said)

    thread = threading.Thread(target=pump, daemon=True)
    thread.start()
    try:
        yield os.ttyname(ends[0][1]), os.ttyname(ends[1][1])
    finally:
        os.write(wake, b".")
        thread.join(10)
        for end in (*ends[0], *ends[1], stop, wake):
            os.close(end)
