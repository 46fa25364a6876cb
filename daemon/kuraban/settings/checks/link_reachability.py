"""How somebody at home answers a ring, and where that cannot leave the building."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from ipaddress import ip_address
from typing import Any
from urllib.parse import urlsplit

from kuraban.core.site import House
from kuraban.errors import Fault
from kuraban.settings.checks.listen_policy import at_home

INDOORS = (".local", ".lan", ".home", ".internal", ".home.arpa")
"""Ends of names that mean something inside one building only (RFC 6762, RFC 8375)."""


def leaves(public: str) -> bool:
    """Whether a phone elsewhere could reach the address without a tunnel."""
    host = (urlsplit(public).hostname or "").rstrip(".")
    try:
        return ip_address(host).is_global
    except ValueError:
        return "." in host and not at_home(host) and not host.endswith(INDOORS)


def answering(house: House, raw: Mapping[str, Any], where: str) -> Iterator[Fault]:
    """A word where the pages could answer rings and the link in a message does not get there."""
    web = raw.get("web")
    if not isinstance(web, dict):
        return
    public = web.get("public")
    names = ", ".join(person.name for person in house.people) or "nobody"
    if not isinstance(public, str):
        wrong = f"is not given, so messages to {names} carry no link to answer by"
        right = 'write the address as phones reach it, such as "https://kura.example"'
        yield Fault(where, "web.public", wrong, right)
    elif not leaves(public):
        wrong = f"is known inside the building only; from home the links of {names} lead nowhere"
        right = "put phones into the house's VPN, or give a public address behind a proxy with TLS"
        yield Fault(where, "web.public", wrong, right)


def routes(public: str | None, root: str) -> tuple[str, ...]:
    """Every way in which a ring can be answered at this house, the nearest to a bed first."""
    found = []
    if public is not None and leaves(public):
        found.append(f"the link in the message, from anywhere: {public}")
    elif public is not None:
        found.append(f"the link in the message, inside the building or its VPN: {public}")
    found += [
        f"a wall button, or somebody beside it: acknowledge to {root}/log/<place or cooler>",
        "from a broker elsewhere that is bridged to this one: the same topic",
        "the command line of the watch's machine: kuraban log <place or cooler> acknowledge",
    ]
    return tuple(found)
