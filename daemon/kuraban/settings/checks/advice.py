"""What is not wrong in a site but will be missed in the night: warnings, never faults."""

from __future__ import annotations

import logging
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from importlib.util import find_spec
from typing import Any

from kuraban.core.site import TEMPERATURES, House, Place
from kuraban.errors import Fault
from kuraban.settings.checks.link_reachability import answering
from kuraban.settings.model import Addresses

PAGES_NEED = ("argon2", "fastapi", "itsdangerous", "jinja2", "multipart", "uvicorn")
PROBE_ERROR = 0.5
"""K either side: the bound of a digital probe as bought (data sheet 19-7487, from memory)."""


def advise(
    house: House, addresses: Mapping[str, Addresses], raw: Mapping[str, Any], where: str
) -> Iterator[Fault]:
    """Every word of advice on a site that has no fault."""
    if "timezone" not in (raw.get("site") or {}):
        wrong = f"is not given; {house.site.timezone} is taken"
        yield Fault(where, "site.timezone", wrong, "write where the brewery stands")
    for place in house.places:
        yield from _place(house, place, where)
    if not any(duty.role == "brewer" for duty in house.rota):
        right = 'write [[duty]] with role = "brewer"'
        yield Fault(where, "duty", "nobody is on the role brewer, so no page finds anyone", right)
    for person, known in addresses.items():
        yield from _person(person, known, where)
    yield from answering(house, raw, where)
    lacking = [library for library in PAGES_NEED if find_spec(library) is None]
    if isinstance(raw.get("web"), dict) and lacking:
        wrong = f"nothing is served: {', '.join(lacking)} is not installed"
        yield Fault(where, "web", wrong, "pip install 'kuraban[web]'")


def _place(house: House, place: Place, where: str) -> Iterator[Fault]:
    if place.brews and not house.probes_of(place.id, "product"):
        right = f'write [[probe]] with of = "{place.id}" and measures = "product"'
        yield Fault(where, f"place[{place.id}]", "a batch here has no product probe", right)
    if place.band is None:
        return
    probes = house.probes_of(place.id, *TEMPERATURES)
    if not probes and not place.brews:
        right = f'write [[probe]] with of = "{place.id}"'
        yield Fault(where, f"place[{place.id}].band", "no probe here tells a temperature", right)
    width = place.band[1] - place.band[0]
    if width < 2 * PROBE_ERROR and any(probe.offset == 0 for probe in probes):
        wrong = f"{width:g} K wide is less than a probe of ±{PROBE_ERROR:g} can tell"
        right = "set the probes' offset from an ice-point check, or widen the band"
        yield Fault(where, f"place[{place.id}].band", wrong, right)


def _person(person: str, known: Addresses, where: str) -> Iterator[Fault]:
    if not known.pages:
        right = "give an address that rings at night"
        yield Fault(where, f"person[{person}].pages", "no page can reach this person", right)
    for key, held in (("pages", known.pages), ("notices", known.notices)):
        for address in held:
            if not _deliverable(address):
                scheme = address.partition("://")[0] if "://" in address else "without a scheme"
                wrong = f"an address ({scheme}) is none that Apprise can send to"
                right = "see the Apprise documentation for the service's address"
                yield Fault(where, f"person[{person}].{key}", wrong, right)


def _deliverable(address: str) -> bool:
    """Whether Apprise can make a service of the address; nothing is sent."""
    from apprise import Apprise

    with _quiet("apprise"):
        return bool(Apprise().add(address))


@contextmanager
def _quiet(name: str) -> Iterator[None]:
    """Apprise would write the address, a secret, to its log."""
    logger = logging.getLogger(name)
    before, logger.disabled = logger.disabled, True
    try:
        yield
    finally:
        logger.disabled = before
