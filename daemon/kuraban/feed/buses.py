"""The three kinds of bus that a feed reads: 1-wire, a Modbus line, a command's output.

Each gives every value of its own once a round, or a Silent that says why there is none. None raises
anything else, and whatever one waits for holds up only itself.
"""

from __future__ import annotations

import os
import re
import selectors
import signal
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Protocol

from kuraban.clock import elapsed
from kuraban.core.intake.payload import follow, json_of, pointer_of, show
from kuraban.edges.modbus import Master, NoAnswer, Refused
from kuraban.feed.registers import count_of, value_of
from kuraban.settings.feed_settings import Command, Line, Value, Wire

MOST = 64 * 1024
"""Bytes that are read of a command's output."""
RESTS = 10
"""Times-out for which a unit that did not answer is left alone."""
_NUMBER = re.compile(r"(?<![\w.,])[+-]?\d+(?:\.\d+)?(?![\d,])")


class Silent(Exception):
    """Why a probe gave no value this time."""


Found = float | bool | Silent


class Bus(Protocol):
    @property
    def name(self) -> str: ...
    def read(self) -> Iterator[tuple[str, Found]]:
        """Each probe with its value of this moment."""


class OneWire:
    """Probes that the kernel shows as folders, each read by opening a file in its own."""

    name = "1-wire"

    def __init__(self, folder: Path, wires: tuple[Wire, ...]) -> None:
        self._folder, self._wires = folder, wires

    def read(self) -> Iterator[tuple[str, Found]]:
        for wire in self._wires:
            try:
                yield wire.id, celsius(self._folder / wire.rom)
            except Silent as why:
                yield wire.id, why


def celsius(probe: Path) -> float:
    """°C of the probe in that folder, whose checksum the kernel has compared; raises Silent."""
    if not probe.is_dir():
        raise Silent(f"{probe.name} does not hang on the bus; look at its cable")
    try:
        if (probe / "temperature").exists():
            text = (probe / "temperature").read_text("ascii")
        else:
            sum_line, _, text = (probe / "w1_slave").read_text("ascii").partition("\n")
            if not sum_line.rstrip().endswith("YES"):
                raise Silent(f"{probe.name}: its checksum is wrong; look at cable and joints")
            text = text.rpartition("t=")[2]
        return int(text) / 1000
    except OSError as error:
        raise Silent(f"{probe.name} cannot be read ({error.strerror})") from None
    except ValueError:
        raise Silent(f"{probe.name} gave no number; look at cable and joints") from None


class ModbusLine:
    """The values on one line. A unit that did not answer is left alone for a while: until what it
    still may say can no longer be taken for the answer to the next question."""

    def __init__(self, line: Line, master: Master, values: tuple[Value, ...]) -> None:
        self.name, self._master, self._values = f"line {line.id}", master, values
        self._rest = RESTS * line.timeout
        self._silent: dict[int, tuple[float, Silent]] = {}

    def read(self) -> Iterator[tuple[str, Found]]:
        for value in self._values:
            until, why = self._silent.get(value.unit, (0.0, None))
            yield value.id, why if why is not None and elapsed() < until else self._value(value)

    def _value(self, value: Value) -> Found:
        try:
            registers = self._master.read(value.unit, value.kind, value.address, count_of(value))
            return value_of(registers, value)
        except NoAnswer as error:
            why = Silent(str(error))
            self._silent[value.unit] = elapsed() + self._rest, why
            return why
        except (Refused, ValueError) as error:
            return Silent(f"{error} ({value.kind} {value.address})")


class CommandOutput:
    """One program of the house's own, run anew each round."""

    def __init__(self, command: Command) -> None:
        self.name, self._command = f"command {command.id}", command

    def read(self) -> Iterator[tuple[str, Found]]:
        try:
            text = output_of(self._command.run, self._command.timeout)
            yield self._command.id, picked(text, self._command.pointer)
        except Silent as why:
            yield self._command.id, why


def picked(text: str, pointer: str | None) -> float | bool:
    """What the output says; raises Silent."""
    if pointer is None:
        found = _NUMBER.search(text)
        if found is None:
            raise Silent(f"there is no number in {show(text)}")
        return float(found[0])
    try:
        value = follow(json_of(text), pointer_of(pointer))
    except LookupError:
        raise Silent(f"there is nothing at {pointer} in {show(text)}") from None
    except ValueError as error:
        raise Silent(str(error)) from None
    if not isinstance(value, (bool, int, float)) or value != value:
        raise Silent(f"at {pointer} stands {show(value)}, which is no number")
    return value if isinstance(value, bool) else float(value)


def output_of(run: tuple[str, ...], timeout: float) -> str:
    """What a program writes until it ends; it and all that it started are killed when its time is
    up, or when it writes without end. Raises Silent."""
    deadline = time.monotonic() + timeout
    try:
        program = subprocess.Popen(
            run, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
            start_new_session=True,
        )  # fmt: skip
    except OSError as error:
        raise Silent(f"{run[0]} cannot be run ({error.strerror})") from None
    assert program.stdout is not None
    with program.stdout as stream, selectors.DefaultSelector() as ready:
        ready.register(stream, selectors.EVENT_READ)
        said = b""
        try:
            while ready.select(max(deadline - time.monotonic(), 0)):
                more = os.read(stream.fileno(), MOST)
                said += more
                if not more or len(said) > MOST:
                    break
            status = program.wait(max(deadline - time.monotonic(), 0.01))
        except subprocess.TimeoutExpired:
            raise Silent(f"{run[0]} did not end within {timeout:g} s") from None
        finally:
            if program.returncode is None:
                os.killpg(program.pid, signal.SIGKILL)
                program.wait()
    if status:
        raise Silent(f"{run[0]} ended with status {status}")
    return said.decode("utf-8", "replace")
