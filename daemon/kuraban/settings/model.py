"""What settings come to: the house, and the secrets that never enter it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from kuraban.core.site import House
from kuraban.errors import Fault


@dataclass(frozen=True, slots=True)
class Mqtt:
    """The way to the broker; `turn` and `keepalive` in seconds, files as absolute paths."""

    host: str = "127.0.0.1"
    port: int = 1883
    root: str = "kura"
    user: str | None = None
    password: str | None = field(default=None, repr=False)
    ca_file: Path | None = None
    cert_file: Path | None = None
    key_file: Path | None = None
    client_id: str = "kuraban"
    turn: float = 0.0
    keepalive: float = 60.0


@dataclass(frozen=True, slots=True, repr=False)
class Addresses:
    """Where one person is reached: Apprise addresses that ring, and those for soundless words."""

    pages: tuple[str, ...]
    notices: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Settings:
    """Everything that was configured.

    `addresses` is by person, `data` the folder of the journal, `warnings` what will be missed in
    the night though nothing is wrong.
    """

    house: House
    mqtt: Mqtt
    addresses: Mapping[str, Addresses]
    data: Path
    warnings: tuple[Fault, ...] = ()
