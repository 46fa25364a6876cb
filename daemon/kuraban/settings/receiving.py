"""Where the long history goes: what must hold of its address, and what is wise about its token."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any
from urllib.parse import SplitResult, urlsplit

from kuraban.errors import Fault
from kuraban.settings.checks import Found, Wrong
from kuraban.settings.exposure import at_home
from kuraban.settings.model import Receiver
from kuraban.settings.tables import HistoryTable

EXAMPLE = "http://127.0.0.1:8086"


def receiver(table: HistoryTable | None) -> Receiver | None:
    """The engine of a table without faults."""
    if table is None:
        return None
    url = table.url.rstrip("/")
    return Receiver(url, table.bucket, table.org, table.token, table.site)


def receiving(raw: Mapping[str, Any]) -> Found:
    """An address that carries a secret, or more or less than an address."""
    url = _url(raw)
    told = _split(url)
    if told is None:
        yield _wrong("what stands here is no web address", f'write one such as "{EXAMPLE}"')
        return
    if told.username is not None or told.password is not None:
        right = "write the address alone, and give token or token_from"
        yield _wrong("a name or pass-word stands in it", right)
    if told.query or told.fragment:
        right = f'write the engine\'s address alone, such as "{EXAMPLE}"'
        yield _wrong("more than an address stands in it", right)
    if told.path.rstrip("/").endswith("/api/v2/write"):
        right = "leave /api/v2/write out; it is added"
        yield _wrong("the path of the write stands in it", right)


def _wrong(wrong: str, right: str) -> Wrong:
    return Wrong(("history", "url"), "history.url", wrong, right)


def receiving_words(raw: Mapping[str, Any], where: str) -> Iterator[Fault]:
    """A word where a token leaves this machine in the open."""
    told = urlsplit(_url(raw))
    held = raw.get("history")
    token = held.get("token") if isinstance(held, dict) else None
    if token and told.scheme == "http" and not at_home(told.hostname or ""):
        wrong, right = "the token goes over the network in the open", "write https://"
        yield Fault(where, "history.url", wrong, f"{right}, or keep the engine on this machine")


def _url(raw: Mapping[str, Any]) -> str:
    """The address, empty where there is none or something else."""
    table = raw.get("history")
    url = table.get("url") if isinstance(table, dict) else None
    return url if isinstance(url, str) else ""


def _split(url: str) -> SplitResult | None:
    """None for what looks like an address and is none."""
    try:
        told = urlsplit(url)
        return told if told.port != 0 else None
    except ValueError:
        return None
