"""What is known at the moment at which a message is written: the material of its words."""

from __future__ import annotations

import msgspec

SOMEBODY = "somebody"
"""Who has an alarm that was acknowledged without a name."""
Title = dict[str, str]
"""A text by language."""


class Situation(msgspec.Struct, frozen=True, kw_only=True):
    """One alarm as it stands. Times in Unix seconds, temperatures °C, rates °C an hour."""

    at: float
    subject: str
    """Id of the place, cooler or probe, or `watch`."""
    name: str
    """What people call it."""
    kind: str
    """Kind of the place or cooler ("tank", "koji-bed", "chilled-water" ...), "probe", "watch", or
    "step" where the watch's clock stepped."""
    condition: str
    value: float | None = None
    planned: float | None = None
    unit: str = "°C"
    since: float | None = None
    rate: float | None = None
    limit: float | None = None
    """The value that matters next: the limit on this side, or the edge of the band."""
    hours_left: tuple[float, float] | None = None
    """Earliest and latest hours until `limit`."""
    batch: str | None = None
    stage: Title = {}
    day: int | None = None
    """Moromi day."""
    hours: float | None = None
    """Hours since the batch began, for koji and starters."""
    last_stir: float | None = None
    last_work: tuple[str, float] | None = None
    """The latest other entry that touched the product, by its name, and when."""
    place_name: str | None = None
    """For a probe: the place or cooler that it hangs on."""
    measures: str | None = None
    cooler: str | None = None
    """Name of the cooler or heater of this place."""
    cooler_trouble: tuple[str, float] | None = None
    """Condition of the cooler's standing alarm, and since when."""
    cooler_in_hand: str | None = None
    """Who has that alarm."""
    service: str | None = None
    """Whom to ring about the cooler."""
    served: tuple[str, ...] = ()
    """Names of the places that a cooler serves, or of the members that an alarm is about."""
    evidence: tuple[str, ...] = ()
    """Keys of the catalogue's sentences that say what was seen, each `key` or `key=value`."""
    in_hand: str | None = None
    """Who has this alarm."""
    banded: bool = False
    """No batch runs there; it is judged by its band."""
    doubtful: bool = False
    """The same message may have reached the reader already."""
