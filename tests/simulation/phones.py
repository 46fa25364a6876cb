"""People's phones: what reaches them, and what their services answer."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from tests.simulation.machine import Machine

SLOW, LOST = 15.0, 8.0
HANGS = 900.0
PUBLIC = "https://sake.example/a/"
"""Where the links in messages lead."""


@dataclass(frozen=True)
class Rung:
    """One message on a phone."""

    at: float
    person: str
    address: str
    title: str
    body: str
    urgent: bool
    unsure: bool = False
    """The service said that it could not be had, though it came."""
    tokens: tuple[str, ...] = ()
    """Of the links that stood below the text."""


@dataclass
class Phone:
    """`well` takes everything; `refuses`; `hangs`; `slow` takes it late; `liar` takes it and says
    no."""

    person: str
    how: str = "well"
    changed: list[tuple[float, str]] = field(default_factory=list)

    def set(self, at: float, how: str) -> None:
        self.how = how
        self.changed.append((at, how))

    def well_from_to(self, start: float, end: float) -> bool:
        """Whether it took everything all of the time."""
        was = "well"
        for at, how in self.changed:
            if at <= start:
                was = how
            elif at <= end and how != "well":
                return False
        return was == "well"


class Phones:
    def __init__(self, machine: Machine, heard: Callable[[Rung], None]) -> None:
        self.machine, self._heard = machine, heard
        self.of: dict[str, Phone] = {}
        self.rung: list[Rung] = []

    def way(self, address: str) -> Way:
        person = address.removeprefix("sim://").rpartition("-")[0]
        return Way(self, self.of.setdefault(person, Phone(person)), address)

    def took(self, rung: Rung) -> None:
        self.rung.append(rung)
        self._heard(rung)


class Way:
    """Stands for `ByApprise`: one address of one person."""

    shows = False

    def __init__(self, phones: Phones, phone: Phone, address: str) -> None:
        self._phones, self._phone, self._address = phones, phone, address

    def send(self, title: str, body: str, urgent: bool, picture: bytes | None = None) -> str:
        machine, phone = self._phones.machine, self._phone
        how = phone.how
        machine.stir()
        if how == "refuses":
            return "the service answered no"
        if how == "hangs":
            until = machine.mono + HANGS
            while phone.how == "hangs" and machine.mono < until:
                machine.wait(5.0)
            return "no answer"
        if how in ("slow", "liar"):
            machine.wait(SLOW if how == "slow" else LOST)
        unsure = how == "liar"
        lines = body.split("\n")
        text = "\n".join(line for line in lines if PUBLIC not in line)
        tokens = tuple(line.partition(PUBLIC)[2] for line in lines if PUBLIC in line)
        self._phones.took(
            Rung(machine.now, phone.person, self._address, title, text, urgent, unsure, tokens)
        )
        return "no answer" if unsure else ""
