"""Who can be told when the watch itself is down: read leniently, whatever else is wrong.

The watch may be down because the site file is broken. People and their addresses are therefore
taken from what can be read of it, row by row, and one row's fault loses no other.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from kuraban.core.site import Language
from kuraban.errors import Fault
from kuraban.settings.checks.references import rows
from kuraban.settings.files.sources import read_site
from kuraban.settings.files.values import LANGUAGES
from kuraban.settings.paths import VARIABLE
from kuraban.settings.secrets import reader, resolve

AFTER_THE_LAST = 99


@dataclass(frozen=True, slots=True)
class Reach:
    """One person as far as they can be told; `roles` as the rota names them, at any hour."""

    person: str
    name: str
    language: Language
    roles: frozenset[str]
    order: int
    pages: tuple[str, ...] = field(repr=False)


@dataclass(frozen=True, slots=True)
class Told:
    """The site's name and zone, and everyone with an address, who maintains the house first."""

    site: str
    zone: ZoneInfo
    people: tuple[Reach, ...]


NOBODY = Told("", ZoneInfo("Asia/Tokyo"), ())


def reach(site_file: Path, env: Mapping[str, str] | None = None) -> Told:
    """Everyone who can be told; nobody where not even TOML can be read. Never raises."""
    env = os.environ if env is None else env
    env = {name: text for name, text in env.items() if name != VARIABLE}
    faults: list[Fault] = []
    try:
        read = read_site(site_file, env, faults)
    except OSError:
        read = None
    if read is None:
        return NOBODY
    merged, _ = read
    raw = resolve(merged, reader(site_file.resolve().parent, env), str(site_file), faults)
    site = raw.get("site")
    held = site if isinstance(site, dict) else {}
    people = [one for row in rows(raw, "person") if (one := _one(row.values, raw, held))]
    zone = _zone(held.get("timezone"))
    return Told(str(held.get("name", "")), zone, tuple(sorted(people, key=_first)))


def _zone(name: object) -> ZoneInfo:
    try:
        return ZoneInfo(str(name))
    except (KeyError, ValueError, OSError):
        return NOBODY.zone


def _one(row: Mapping[str, Any], raw: Mapping[str, Any], site: Mapping[str, Any]) -> Reach | None:
    pages = row.get("pages")
    kept = tuple(one for one in pages if isinstance(one, str)) if isinstance(pages, list) else ()
    if not kept:
        return None
    own = str(row.get("id", ""))
    duties = [duty for duty in rows(raw, "duty") if duty.text("person") == own]
    orders = [order for duty in duties if isinstance(order := duty.values.get("order"), int)]
    language = row.get("language", site.get("language"))
    return Reach(
        person=own or "somebody",
        name=str(row.get("name") or own or "somebody"),
        language=language if language in LANGUAGES else "en",
        roles=frozenset(duty.text("role") for duty in duties),
        order=min(orders, default=AFTER_THE_LAST),
        pages=kept,
    )


def _first(one: Reach) -> tuple[bool, bool, int]:
    return "maintenance" not in one.roles, "brewer" not in one.roles, one.order
