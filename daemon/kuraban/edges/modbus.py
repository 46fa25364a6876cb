"""The one place that knows pymodbus: a line is asked for one value at a time.

On a serial line nothing in an answer says which question it belongs to but the unit's number. An
answer that comes after its time was up would so be taken for that to the next question to the same
unit. So no question is repeated, after a failure the line is closed, which throws away what still
lies in it, and a unit that failed rests until that answer can no longer come (`feed.buses`).
"""

from __future__ import annotations

import logging
from contextlib import suppress
from typing import Any, Final, Literal, Protocol

from kuraban.errors import ConfigurationError, Fault

Kind = Literal["holding", "input", "coil", "contact"]
Parity = Literal["even", "odd", "none"]

ASKS: Final = {
    "holding": "read_holding_registers",
    "input": "read_input_registers",
    "coil": "read_coils",
    "contact": "read_discrete_inputs",
}
REFUSALS: Final = {
    1: "it does not know this kind of value",
    2: "it has no such address",
    3: "it does not give so many at once",
    4: "it has failed",
    6: "it is busy",
    10: "the gateway has no way to it",
    11: "the gateway heard nothing from it",
}
"""What a unit's exception codes mean (Modbus Application Protocol V1.1b3, section 7)."""
SILENT: Final = frozenset({10, 11})
"""Codes with which a gateway answers in place of a unit that does not."""


class Line(Protocol):
    """RTU on a `device`, or TCP to a `host`; `timeout` in seconds."""

    @property
    def device(self) -> str | None: ...
    @property
    def baud(self) -> int: ...
    @property
    def parity(self) -> Parity: ...
    @property
    def host(self) -> str | None: ...
    @property
    def port(self) -> int: ...
    @property
    def timeout(self) -> float: ...


class NoAnswer(Exception):
    """Nothing that could be read came in time; the text says why."""


class Refused(Exception):
    """The unit is there and says that it does not give this value; the text says why."""


class Master:
    """Asks the units of one line; it is opened by the first question."""

    def __init__(self, line: Line) -> None:
        try:
            from pymodbus.client import ModbusSerialClient, ModbusTcpClient
        except ImportError as error:
            right = "install kuraban with the extra [feed]"
            raise ConfigurationError([Fault("feed", "line", f"{error}", right)]) from None
        library = logging.getLogger("pymodbus")
        library.handlers, library.propagate = [logging.NullHandler()], False
        self.place = line.device or f"{line.host}:{line.port}"
        self._client: Any
        if line.device is not None:
            self._client = ModbusSerialClient(
                line.device,
                baudrate=line.baud,
                parity=line.parity[0].upper(),
                stopbits=2 if line.parity == "none" else 1,
                timeout=line.timeout,
                retries=0,
            )
        else:
            self._client = ModbusTcpClient(
                line.host or "", port=line.port, timeout=line.timeout, retries=0
            )

    def read(self, unit: int, kind: Kind, address: int, count: int = 1) -> list[int]:
        """`count` registers, or coils or contacts as 0 and 1; raises NoAnswer and Refused."""
        try:
            if not self._client.connect():
                raise NoAnswer(f"{self.place} cannot be opened")
            answer = getattr(self._client, ASKS[kind])(address, count=count, device_id=unit)
        except NoAnswer:
            raise
        except Exception as error:  # whatever the library meets in bytes from strangers
            self.close()
            raise NoAnswer(f"unit {unit} gave no answer that could be read") from error
        if answer.isError():
            code = int(answer.exception_code)
            words = f"unit {unit}: {REFUSALS.get(code, f'refused with code {code}')}"
            raise (NoAnswer if code in SILENT else Refused)(words)
        got = answer.bits if kind in ("coil", "contact") else answer.registers
        if len(got) < count:
            self.close()
            raise NoAnswer(f"unit {unit} answered something else than was asked")
        return [int(one) for one in got[:count]]

    def close(self) -> None:
        """What still lies in the line is thrown away."""
        with suppress(OSError):
            self._client.close()
