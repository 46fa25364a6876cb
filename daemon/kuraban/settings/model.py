"""What settings come to: the house, and the secrets that never enter it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

from kuraban.core.site import House, Language
from kuraban.core.units import DAY
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


Role = Literal["look", "log", "manage"]


@dataclass(frozen=True, slots=True)
class Account:
    """Somebody who may use the pages; `password` is its argon2 line."""

    id: str
    role: Role
    name: str
    language: Language | None = None
    password: str = field(default="", repr=False)


@dataclass(frozen=True, slots=True)
class Web:
    """Where the pages listen, who may use them, and what signs their sessions and links.

    Without accounts everyone who reaches them may do everything: they are then reached from this
    machine alone.
    """

    host: str = "127.0.0.1"
    port: int = 8080
    public: str | None = None
    cert_file: Path | None = None
    key_file: Path | None = None
    proxy: tuple[str, ...] = ()
    accounts: tuple[Account, ...] = ()
    secret: str | None = field(default=None, repr=False)


@dataclass(frozen=True, slots=True)
class Outward:
    """Where a sign of life goes while all is well, and every how many seconds."""

    ping: str | None = field(default=None, repr=False)
    every: float = 300.0


@dataclass(frozen=True, slots=True)
class Receiver:
    """The engine that keeps the long history. `site` None is the house's own name."""

    url: str
    bucket: str
    org: str = "kuraban"
    token: str | None = field(default=None, repr=False)
    site: str | None = None
    ca_file: Path | None = None

    @property
    def name(self) -> str:
        """Under which the journal keeps how far it has come; another one begins at the start."""
        return f"{self.url} {self.org}/{self.bucket}"


@dataclass(frozen=True, slots=True)
class Keep:
    """For how many seconds readings are kept at full length, and their minutes thereafter."""

    full: float = 30 * DAY
    minutes: float = 90 * DAY


@dataclass(frozen=True, slots=True)
class Settings:
    """Everything that was configured.

    `addresses` is by person, `data` the folder of the journal, `warnings` what will be missed in
    the night though nothing is wrong, `web` None where there are to be none; so are those who keep
    the long history, the engine `history` and the `folder`, whose url is its path. `unread`
    are calendars that could not be read: nobody is on duty by them.
    """

    house: House
    mqtt: Mqtt
    addresses: Mapping[str, Addresses]
    data: Path
    warnings: tuple[Fault, ...] = ()
    web: Web | None = None
    outward: Outward = Outward()
    history: Receiver | None = None
    folder: Receiver | None = None
    keep: Keep = Keep()
    unread: tuple[Fault, ...] = ()

    @property
    def receivers(self) -> tuple[Receiver, ...]:
        """Everyone who keeps the long history."""
        return tuple(one for one in (self.history, self.folder) if one is not None)
