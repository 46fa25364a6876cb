"""Where the pages may be reached: on this machine by all, elsewhere only by accounts and under TLS.

A tank's plan can be re-drawn from the pages, so whoever can reach them must be known, and nobody
on the way may listen. TLS is spoken by the pages themselves, or by a proxy that the site file
states.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from ipaddress import ip_address
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from kuraban.settings.checks.references import Found, Wrong, rows
from kuraban.settings.files.values import show

LISTEN = "127.0.0.1:8080"
_FILES = ("cert_file", "key_file")


def split_listen(listen: str) -> tuple[str, int]:
    """Address and port of "127.0.0.1:8080" or "[::1]:8080"; ValueError for anything else."""
    host, _, port = listen.rpartition(":")
    if host.startswith("[") and host.endswith("]"):
        host = str(ip_address(host[1:-1]))
    elif ":" in host:
        raise ValueError(listen)
    if not host or not port.isascii() or not port.isdecimal() or not 1 <= int(port) <= 65535:
        raise ValueError(listen)
    return host, int(port)


def at_home(host: str) -> bool:
    """Whether only this machine itself reaches the address."""
    if host.lower() == "localhost":
        return True
    try:
        return ip_address(host).is_loopback
    except ValueError:
        return False


def exposure(raw: Mapping[str, Any], folder: Path) -> Found:
    """Every fault of the table [web] that lies between its keys or in its files."""
    table = raw.get("web")
    if isinstance(table, dict):
        yield from _listen(table, bool(rows(raw, "account")))
        yield from _files(table, folder)
        yield from _proxy(table)
        yield from _public(table)
    yield from _accounts(raw)


def _wrong(key: str, wrong: str, right: str) -> Wrong:
    return Wrong(("web", key), f"web.{key}", wrong, right)


def _listen(table: Mapping[str, Any], accounts: bool) -> Found:
    listen = table.get("listen", LISTEN)
    if not isinstance(listen, str):
        return
    try:
        host, _ = split_listen(listen)
    except ValueError:
        wrong = f"{show(listen)} is no address and port"
        yield _wrong("listen", wrong, f'write "{LISTEN}", or "[::1]:8080"')
        return
    if at_home(host):
        return
    if not accounts:
        right = f'add an [[account]] for everyone who may, or listen at "{LISTEN}"'
        yield _wrong(
            "listen", f"{show(listen)} is open to others, and there are no accounts", right
        )
    if not all(table.get(key) for key in _FILES) and not table.get("proxy"):
        right = "give cert_file and key_file, or the proxy that speaks TLS before it"
        yield _wrong("listen", f"{show(listen)} is open to others without TLS", right)


def _files(table: Mapping[str, Any], folder: Path) -> Found:
    for key, other in (_FILES, _FILES[::-1]):
        named = table.get(key)
        if named and not table.get(other):
            yield _wrong(key, f"is given without {other}", f"give {other}")
        if isinstance(named, str) and not (folder / named).is_file():
            right = "name a file that is there; relative paths start at the site file"
            yield _wrong(key, f"there is no file {folder / named}", right)


def _proxy(table: Mapping[str, Any]) -> Found:
    held = table.get("proxy")
    for address in held if isinstance(held, list) else ():
        try:
            ip_address(str(address))
        except ValueError:
            wrong = f"{show(address)} is no address of a machine"
            yield _wrong("proxy", wrong, 'write the addresses it calls from, such as ["127.0.0.1"]')


def _public(table: Mapping[str, Any]) -> Found:
    public = table.get("public")
    if not isinstance(public, str):
        return
    told = urlsplit(public)
    encrypted = told.scheme == "https" or (told.scheme == "http" and at_home(told.hostname or ""))
    if not encrypted or not told.hostname or told.path.strip("/") or told.query or told.username:
        wrong = f"{show(public)} is no address that phones can be given"
        yield _wrong("public", wrong, 'write it as "https://kura.example", without a path')


def _accounts(raw: Mapping[str, Any]) -> Iterator[Wrong]:
    for row in rows(raw, "account"):
        if not row.values.get("password") and not row.values.get("password_from"):
            right = "give password or password_from, with the line that `kuraban password` prints"
            yield Wrong(
                ("account", row.index, "password"), f"{row.name}.password", "is missing", right
            )
