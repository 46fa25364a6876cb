"""A probe and a place as whoever only reads them sees them: nothing here can be written.

The checker holds it. Who writes is told in `kuraban.core.probes.probe_state` (what was heard) and
`kuraban.core.probes.belief` (what is believed).
"""

from __future__ import annotations

from array import array
from collections.abc import Sequence
from collections.abc import Set as AbstractSet
from typing import Literal, Protocol

from kuraban.core.site import Place, Probe

Reason = Literal[
    "silent", "stuck", "still", "wild", "displaced", "out", "hangs-dry", "step", "out-of-service"
]
"""What makes a probe no measure: it does not answer, rests on one value or is half way to be told
so, tells nonsense, reads the air, was taken out, hangs above the mash, made a step that is not
understood yet, or somebody set it out of service."""


class SeriesView(Protocol):
    """Values in the order of their time, for the last hours."""

    @property
    def times(self) -> Sequence[float]: ...
    @property
    def values(self) -> Sequence[float]: ...
    @property
    def inserted(self) -> int:
        """How many came out of their order."""

    def since(self, start: float, until: float = ...) -> tuple[array[float], array[float]]:
        """Times and values in [start, until], copied out."""

    def before(self, at: float) -> float | None:
        """The latest value at or before a moment."""


class ProbeView(Protocol):
    """One probe as the watch hears it."""

    @property
    def probe(self) -> Probe: ...
    @property
    def series(self) -> SeriesView: ...
    @property
    def silent_after(self) -> float: ...
    @property
    def heard(self) -> float | None:
        """Time of the last current reading."""

    @property
    def value(self) -> float | None:
        """Filtered, of the last current readings."""

    @property
    def raw(self) -> float | None:
        """The last current reading itself."""

    @property
    def bad(self) -> Sequence[float]:
        """When error codes and impossible jumps came, the latest."""

    @property
    def suspect(self) -> AbstractSet[Reason]:
        """What speaks against it; while anything does it is no measure."""

    def fresh(self, now: float) -> bool:
        """It answers."""

    def good(self, now: float) -> bool:
        """Believed: it answers, and nothing speaks against it."""

    def known(self, now: float) -> float | None:
        """The value of a probe that is believed now."""


class PlaceView(Protocol):
    """One place as its probes tell it."""

    @property
    def place(self) -> Place: ...
    @property
    def products(self) -> Sequence[ProbeView]: ...
    @property
    def series(self) -> SeriesView: ...
    @property
    def value(self) -> float | None:
        """The product now, None while nothing good measures it."""

    @property
    def at(self) -> float | None: ...
    @property
    def centre(self) -> float | None:
        """The moment that the value stands for: the middle of the readings behind it."""

    @property
    def last_good(self) -> float | None: ...
    @property
    def product(self) -> float | None:
        """The last product that was believed."""

    @property
    def revised(self) -> int:
        """Rises when the record of the past came to tell more than before."""

    def lapsed(self, now: float) -> bool:
        """Whether it has a value though none of its probes is good any more."""
