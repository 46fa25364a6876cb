"""The way of a batch as it is shown: what went into it, where it stood, where it went."""

from __future__ import annotations

from datetime import tzinfo
from typing import Any, Literal, NamedTuple

from kuraban.core.units import show_time
from kuraban.trade.warmth import Held, Warmth

How = Literal["added", "merged", "pressed"]


class Joint(NamedTuple):
    """One batch, or what was known by that name, goes into another in a place."""

    at: float
    source: str
    into: str
    how: How
    place: str


class Heating(NamedTuple):
    """What a heating reached, and for how long it held what it had to."""

    at: float
    least: float
    held: Held


class Stood(NamedTuple):
    """A batch in a place; `end` None while it stands there. Warmth and heatings of pressed sake."""

    batch: str
    place: str
    start: float
    end: float | None
    warmth: Warmth | None = None
    heatings: tuple[Heating, ...] = ()


class Way(NamedTuple):
    """Everything that went into a batch and that it went into, oldest first, and where they all
    stood."""

    joints: tuple[Joint, ...]
    stood: tuple[Stood, ...]

    def told(self, zone: tzinfo) -> dict[str, Any]:
        """The same for a program: times in the house's zone."""

        def told(at: float | None) -> str | None:
            return None if at is None else show_time(at, zone)

        return {
            "joints": [one._asdict() | {"at": told(one.at)} for one in self.joints],
            "stood": [
                one._asdict()
                | {"start": told(one.start), "end": told(one.end)}
                | {"warmth": None if one.warmth is None else one.warmth._asdict()}
                | {"heatings": [
                    {"at": told(each.at), "least": each.least, **each.held._asdict()}
                    for each in one.heatings
                ]}
                for one in self.stood
            ],
        }  # fmt: skip
