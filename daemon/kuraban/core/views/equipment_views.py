"""What is shown to whoever tends a koji bed, or a cooler and what hangs on it.

Parts of the snapshot (`kuraban.core.views.snapshot`), made by the watch's loop and never changed.
Times are Unix seconds, temperatures °C, rates °C an hour, hours from the picture's moment.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

AirWord = Literal["inside", "damp", "dry", "dry-wick", "unjudged"]
"""The air of a koji room against what its latest lot wants; a wick without water tells nothing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HoursLeft:
    """Until a place leaves its tolerance and its limit on the warm side, if cooling stopped now.

    Hours, None where that is beyond two days; the soonest is the pessimistic end.
    """

    soonest: float | None
    latest: float | None
    limit_soonest: float | None
    limit_latest: float | None
    rests_on: Literal["own warm-ups", "samples", "course"]
    slow: float
    fast: float
    record: float | None = None
    """Hours of own warm-ups that were seen."""
    shut: float | None = None
    """Share of the record in which nothing cooled it: what its cooling has to spare."""
    litres: tuple[float, float] | None = None
    """Least and most that are in it, by what was logged, else by its size."""
    made: tuple[float, float] | None = None
    """W that its ferment makes, by its samples."""
    taken: tuple[float, float] | None = None
    """W that its cooling takes out while it cools, by the record and its litres."""


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkDone:
    """What somebody did to a bed, and where its temperature went within the hour after."""

    entry: str
    """The entry's id."""
    kind: str
    """"stage", "handwork", "note", ..."""
    at: float
    stage: str | None = None
    text: str | None = None
    before: float | None = None
    """Median of the twenty minutes before."""
    after: float | None = None
    """Median of the last ten minutes of the hour after, or of what there is of it."""
    minutes: float = 0.0
    """How long after; less than sixty while the hour goes on."""
    lowest: float | None = None
    """Within that hour."""

    @property
    def moved(self) -> float | None:
        return None if self.before is None or self.after is None else self.after - self.before


@dataclass(frozen=True, slots=True, kw_only=True)
class BedNow:
    """A bed with a lot in it; its product, stage and batch stand in its place of the picture."""

    place: str
    begun: float
    """Hikikomi: when the lot came into the room."""
    sure: bool = True
    """False where the lot was taken over later, and `begun` is counted back by its course."""
    goal: float
    """The last figure of the stage's course."""
    way: Literal["up", "down", "level"] = "up"
    """Where the stage's course goes."""
    reached: bool = False
    slow: float | None = None
    fast: float | None = None
    """°C an hour of its own rise, None where it is not known."""
    soonest: float | None = None
    latest: float | None = None
    """Hours until it reaches `goal` by its own rise; None where it does not go there."""
    watts: tuple[float, float] | None = None
    """W that its own rise takes, least and most; None where its rise or its rice is not known."""
    works: tuple[WorkDone, ...] = ()
    """Newest first."""


@dataclass(frozen=True, slots=True, kw_only=True)
class AirNow:
    """The air of a koji room. `depression` is dry less wet bulb, K."""

    dry: float | None = None
    wet: float | None = None
    depression: float | None = None
    humidity: float | None = None
    reckoned: bool = False
    """Humidity, or depression, was reckoned from the others."""
    at: float | None = None
    measure: Literal["depression", "humidity"] | None = None
    """What the band is of."""
    band: tuple[float, float] | None = None
    word: AirWord = "unjudged"
    of: str | None = None
    """The bed whose stage names the band: the latest lot's."""


@dataclass(frozen=True, slots=True, kw_only=True)
class KojiRoom:
    """A room with koji beds; `id` is None for beds that name no room."""

    id: str | None
    air: AirNow | None = None
    heater: str | None = None
    beds: tuple[str, ...] = ()
    """Every bed in the order in which they stand."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Served:
    """A place that hangs on a cooler; `hours` are None where nothing is known of them."""

    place: str
    judged: bool
    valve: bool | None = None
    """Open, shut, or not measured."""
    hours: HoursLeft | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class CoolerNow:
    """A cooler or heater. What nobody measures is None."""

    id: str
    name: str
    kind: str
    heats: bool
    service: str | None = None
    rated: float | None = None
    out: float | None = None
    """Since when it is out of service."""
    judged: bool = False
    called: str | None = None
    """Why it is called for, an `evidence.` key of the catalogue; None where it is not."""
    runs: bool | None = None
    since: float | None = None
    """Since when it runs, or rests."""
    power: float | None = None
    supply: float | None = None
    back: float | None = None
    """Temperature of what returns."""
    air: float | None = None
    at: float | None = None
    """When the newest of these was heard."""
    band: tuple[float, float] | None = None
    off_band: bool | None = None
    starts: int | None = None
    """In the last hour."""
    shares: tuple[tuple[float, float], ...] = ()
    """Hours back, and the share of them in which it ran."""
    served: tuple[Served, ...] = ()

    @property
    def difference(self) -> float | None:
        """K between what returns and what is supplied."""
        return None if self.supply is None or self.back is None else self.back - self.supply
