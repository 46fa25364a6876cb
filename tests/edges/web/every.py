"""Every page there is, by the routes of the application itself: none that is added can be left out.

A page whose address has a part that is not known here, or that is nowhere to be had in the night
that is served, fails whoever looks at every page.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator
from itertools import product
from typing import cast

from fastapi.routing import APIRoute

from kuraban.core.site import TEMPERATURES
from kuraban.edges.signing import Act, Link, Signer
from kuraban.edges.web.app import make_app
from kuraban.edges.web.page_context import PageContext
from kuraban.edges.web.programs.api import PREFIX
from kuraban.edges.web.security.feed_marks import FILE as FILE_OF_MARKS
from kuraban.edges.web.security.feed_marks import FeedMarks
from kuraban.edges.web.wall import WALL
from kuraban.queries.batches.batch_sheet import Batches
from tests.edges.web.served import Served

ACTS: tuple[tuple[str, Act], ...] = (
    ("aki", "acknowledge"), ("sho", "let-run"), ("sho", "verdict"),
)  # fmt: skip
FOR_PROGRAMS = (PREFIX, "/metrics", "/live/")
FILE = re.compile(r"\.[a-z]+$")
PART = re.compile(r"\{(\w+)\}")
OF_A_KIND = OF_A_SHAPE = 2
"""So many tanks are looked at beside every other kind of place, and so many of a thing's pages."""
VARIANTS = {
    "/place/{place}": ("?range=batch", "?range=stir"),
    "/place/{place}/plan": ("?days=14",),
    "/place/{place}/addition": ("?wanted=rice&water_litres=100&water_celsius=5&target=9"
                                "&rice_kg=80", "?wanted=ice&target=x",
                                "?wanted=spirit&mash_litres=2000&mash_celsius=9&spirit_litres=400"
                                "&ice_kg=4&target=8"),
    "/why/{subject}": ("?at=2026-02-03T23:30",),
    "/batches/start": ("?place=starter-1&course=starter-sokujo-14",
                       "?place=tank-3&course=starter-sokujo-14"),
}  # fmt: skip
"""What the same page shows when it is asked so."""


def routes(method: str = "GET") -> list[str]:
    """Shapes of all addresses that take a method."""
    every = _within(make_app(cast(PageContext, None)).routes)
    return [route.path for route in every if method in route.methods]


def pages() -> list[str]:
    """Shapes of the addresses at which a person finds a page."""
    return [p for p in routes() if not p.startswith(FOR_PROGRAMS) and not FILE.search(p)]


def curves() -> list[str]:
    return [path for path in routes() if path.endswith(".svg")]


def _within(routes: Iterable[object]) -> Iterator[APIRoute]:
    for route in routes:
        if isinstance(route, APIRoute):
            yield route
        yield from _within(getattr(getattr(route, "original_router", None), "routes", ()))


def addresses(
    watch: Served, key: str, there: Callable[[str], bool], shapes: Iterable[str] = ()
) -> dict[str, list[str]]:
    """Addresses of each shape, those that are there; a variant once."""
    found = {}
    for shape in shapes or pages():
        most = None if shape.endswith("}") else OF_A_SHAPE
        plain = [one for one in filled(shape, watch, key) if there(one)][:most]
        for more in VARIANTS.get(shape, ()):
            plain += [one for one in filled(shape + more, watch, key) if there(one)][:1]
        found[shape] = plain
    return found


def filled(address: str, watch: Served, key: str) -> Iterator[str]:
    """The addresses of a shape; KeyError for a part that is not known here."""
    names = PART.findall(address)
    if names[-2:] == ["place", "key"]:
        for place, number in _batches(watch):
            yield address.replace("{place}", place).replace("{key}", number)
        return
    parts = [_known(watch, key)[name] for name in names]
    for chosen in product(*parts):
        filled = address
        for name, one in zip(names, chosen, strict=True):
            filled = filled.replace(f"{{{name}}}", one)
        yield filled


def _known(watch: Served, key: str) -> dict[str, list[str]]:
    """What may stand in an address."""
    house = watch.settings.house
    running = [one for one in watch.snapshot().places if one.batch is not None]
    tanks = [one.id for one in running if one.kind == "tank"]
    kinds = {place.kind: place.id for place in house.places if place.kind != "tank"}
    probes = [probe.id for probe in house.probes if probe.measures in TEMPERATURES]
    return {
        "place": [*tanks[-OF_A_KIND:], *kinds.values()],
        "subject": tanks[-1:],
        "cooler": [cooler.id for cooler in house.coolers],
        "probe": probes[:1],
        "token": _links(watch, key),
        "wall": [_wall(watch, key)],
        "part": ["alarms", "crew", "glossary", "tank"],
    }


def _batches(watch: Served) -> list[tuple[str, str]]:
    stays = Batches(watch.settings.house, watch.path).stays()
    kinds = {watch.settings.house.place[one.place].kind: one for one in stays}
    return [(one.place, str(one.key)) for one in {**kinds, "newest": stays[0]}.values()]


def _wall(watch: Served, key: str) -> str:
    """The address of the tablet on the wall."""
    marks = FeedMarks(watch.path.with_name(FILE_OF_MARKS))
    if marks.of(WALL) is None:
        marks.renew(WALL)
    known = marks.of(WALL)
    assert known is not None
    return Signer(key).feed(known)


def _links(watch: Served, key: str) -> list[str]:
    """One of each kind that a message carries, about what rings now, and one too old."""
    now, sign = watch.clock(), Signer(key).link
    made = [
        Link(ring.subject, ring.condition, person, act, now)
        for ring in watch.snapshot().rings[:1]
        for person, act in ACTS
    ]
    return [sign(link) for link in made]
