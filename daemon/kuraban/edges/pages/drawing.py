"""The way to the one figure function, which is imported with its library only when first needed."""

from __future__ import annotations

from dataclasses import dataclass

from kuraban.core.facts import Logged
from kuraban.core.picture import Picture, PlaceNow
from kuraban.core.site import House
from kuraban.edges.pages.past import Measured, PastRing


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """Everything that one curve shows; `points` are the measured ones, `step` seconds apart."""

    house: House
    place: PlaceNow
    picture: Picture
    points: tuple[Measured, ...]
    step: float
    done: tuple[Logged, ...]
    rings: tuple[PastRing, ...]
    start: float
    end: float
    language: str
    night: bool


def available() -> bool:
    """Whether curves can be drawn here; the table stands in their place where not."""
    return False


def svg(sheet: Sheet) -> bytes | None:
    """The curve as an SVG document; None where curves cannot be drawn."""
    return None
