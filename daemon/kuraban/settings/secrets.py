"""Secrets that the site file names but does not hold.

`password_from = "credential:NAME"` reads the file that systemd laid into its credentials folder;
outside systemd the one in `secrets` beside the site file, where `deploy/install` put it. Anything
else is a file's path, from the site file's folder. A list (`pages_from`) has one address a line.
What is read here never enters the house that the journal keeps.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from kuraban.errors import NOT_ALLOWED, Fault
from kuraban.settings.files.faults import label
from kuraban.settings.files.values import nearest, show

CREDENTIAL = "credential:"
SECRET = {
    "mqtt": ("user", "password"),
    "person": ("pages", "notices"),
    "web": ("secret",),
    "watch": ("ping",),
    "history": ("token",),
    "account": ("password",),
}
LISTS = frozenset({"pages", "notices"})
UNREAD = {
    "ping": "https://unread",
    "secret": "unread " * 5,
    "password": "$argon2id$v=19$m=8,t=1,p=1$dW5yZWFk$dW5yZWFk",
}
"""What stands in for a secret that was not read, of its form; nothing opens it."""

HELD = "secrets"
"""The folder beside the site file; the unit hands it over under this name: secrets_mqtt is mqtt."""

Read = Callable[[str], str]


class Unreadable(Exception):
    """A secret that cannot be read: what is wrong, what would be right."""


def reader(folder: Path, env: Mapping[str, str]) -> Read:
    """A function from what `…_from` says to the secret's text; raises Unreadable."""

    def read(source: str) -> str:
        path, right = _path_of(source, folder, env)
        try:
            return path.read_text(encoding="utf-8").strip("\r\n")
        except (OSError, UnicodeDecodeError) as refused:
            if isinstance(refused, PermissionError):
                right = NOT_ALLOWED
            raise Unreadable(f"{show(source)} cannot be read ({_why(refused)})", right) from None

    return read


def _why(refused: OSError | UnicodeDecodeError) -> str:
    return refused.strerror or "error" if isinstance(refused, OSError) else "not UTF-8"


def _path_of(source: str, folder: Path, env: Mapping[str, str]) -> tuple[Path, str]:
    if not source.startswith(CREDENTIAL):
        return folder / source, f'name a file, or "{CREDENTIAL}NAME"'
    name = source.removeprefix(CREDENTIAL)
    if not name or "/" in name or name in (".", ".."):
        raise Unreadable(f"{show(name)} is not a credential", f'write "{CREDENTIAL}NAME"')
    held = env.get("CREDENTIALS_DIRECTORY")
    if not held:
        own = folder / HELD / name.removeprefix(f"{HELD}_")
        return own, f"lay it at {own}, or run under systemd with LoadCredential="
    known = [path.name for path in Path(held).iterdir()] if Path(held).is_dir() else []
    return Path(held) / name, nearest(name, known, f"add LoadCredential={name}:… to the unit")


def unasked(source: str) -> str:
    """Reads nothing: for whoever uses no secret, and so need not be allowed to see one."""
    raise Unreadable


def resolve(raw: Mapping[str, Any], read: Read, where: str, faults: list[Fault]) -> dict[str, Any]:
    """The tables with each `…_from` replaced by its secret; what cannot be read is a fault, and
    what was not asked for has a word in its place."""
    resolved = dict(raw)
    for table, keys in SECRET.items():
        held = raw.get(table)
        if isinstance(held, dict):
            resolved[table] = _filled(held, table, keys, read, where, faults)
        elif isinstance(held, list):
            resolved[table] = [
                _filled(row, label(table, index, row), keys, read, where, faults)
                for index, row in enumerate(held)
            ]
    return resolved


def _filled(
    row: Any, named: str, keys: tuple[str, ...], read: Read, where: str, faults: list[Fault]
) -> Any:
    if not isinstance(row, dict):
        return row
    filled = dict(row)
    for key in keys:
        source = filled.get(f"{key}_from")
        if not isinstance(source, str):
            continue
        del filled[f"{key}_from"]
        try:
            if key in filled:
                raise Unreadable(f"both {key} and {key}_from are given", "keep one of the two")
            text = read(source)
            filled[key] = _lines(text) if key in LISTS else text
        except Unreadable as refused:
            filled.setdefault(key, [] if key in LISTS else UNREAD.get(key, "unread"))
            if refused.args:
                faults.append(Fault(where, f"{named}.{key}_from", *refused.args))
    return filled


def _lines(text: str) -> list[str]:
    return [line.strip() for line in text.splitlines() if line.strip()]
