"""What the probes say: their series, the robust product value of a place, and which to believe.

The product value of a probe is the mean of the middle three of its last seven current readings; of
a probe that speaks less often than every two minutes, and of what is no temperature, the median of
the last three. On a steady ramp that lags three readings (one); two outliers in seven (one in
three) do not move it. Gaussian noise passes at 0.41 (0.67) of its standard deviation, and a value
between two steps of a quantised probe is found between them. It marks nothing as false, so
quantised flat data cannot flag itself. The product of a place is the median of its good probes.
"""

from __future__ import annotations

from array import array
from bisect import bisect_left, bisect_right
from typing import Literal

from kuraban.core.facts import Reading
from kuraban.core.probes.probe_view import Reason
from kuraban.core.site import TEMPERATURES, Place, Probe
from kuraban.core.units import HOUR, MINUTE

KEPT = 14 * HOUR
"""How far back the judging remembers."""
KEPT_BRIEFLY = 4 * HOUR
"""The same of one probe among several of a product, whose own series is looked at closely only."""
SPARE = 1 * HOUR
"""Older values are thrown out so much at a time."""
WINDOW, WINDOW_SLOW = 7, 3
SLOW = 2 * MINUTE
BAD_KEPT = 100
JUMP = 5.0
"""K from the filtered value and back again within one reading: nothing real does that."""

Admission = Literal["new", "same", "conflict"]


class Series:
    """Values in the order of their time, for the last hours."""

    __slots__ = ("inserted", "kept", "times", "values")

    def __init__(self) -> None:
        self.times = array("d")
        self.values = array("d")
        self.inserted = 0
        """How many came out of their order."""
        self.kept = KEPT

    def add(self, at: float, value: float) -> Admission:
        """Keep a value; the first of one moment stays."""
        times = self.times
        if not times or at > times[-1]:
            times.append(at)
            self.values.append(value)
            if at - times[0] > self.kept + SPARE:
                gone = bisect_left(times, at - self.kept)
                del times[:gone], self.values[:gone]
            return "new"
        place = bisect_left(times, at)
        if place < len(times) and times[place] == at:
            return "same" if self.values[place] == value else "conflict"
        self.inserted += 1
        times.insert(place, at)
        self.values.insert(place, value)
        return "new"

    def since(self, start: float, until: float = 1e18) -> tuple[array[float], array[float]]:
        """Times and values in [start, until]."""
        low, high = bisect_left(self.times, start), bisect_right(self.times, until)
        return self.times[low:high], self.values[low:high]

    def before(self, at: float) -> float | None:
        """The latest value at or before a moment."""
        place = bisect_right(self.times, at) - 1
        return self.values[place] if place >= 0 else None


class ProbeState:
    """One probe as the watch hears it."""

    __slots__ = (
        "bad", "heard", "leaps", "leapt", "offset", "probe", "raw", "series", "silent_after",
        "suspect", "value", "width", "window",
    )  # fmt: skip

    def __init__(self, probe: Probe) -> None:
        self.probe = probe
        self.leaps = probe.measures in TEMPERATURES
        self.leapt = False
        """A jump and back was heard, which nobody has looked at yet."""
        self.offset = probe.offset
        self.silent_after = probe.silent_after
        self.series = Series()
        self.width = WINDOW if self.leaps and probe.every <= SLOW else WINDOW_SLOW
        self.window = array("d")
        """The last current readings, `width` of them."""
        self.heard: float | None = None
        """Time of the last current reading."""
        self.raw: float | None = None
        """That reading itself."""
        self.value: float | None = None
        """Filtered, of the last current readings."""
        self.bad: list[float] = []
        """When error codes and impossible jumps came, the latest."""
        self.suspect: frozenset[Reason] = frozenset()
        """What makes this probe no measure. `kuraban.core.probes.belief` alone writes it."""

    def settle(self, probe: Probe) -> None:
        """The same probe as the house has it now."""
        self.probe, self.offset, self.silent_after = probe, probe.offset, probe.silent_after

    def spoil(self, at: float) -> None:
        """An error code or an impossible jump."""
        self.bad.append(at)
        del self.bad[:-BAD_KEPT]

    def hear(self, reading: Reading) -> Admission:
        """Take a reading in; only a current one moves the value."""
        at, value = reading.at, reading.value
        admission = self.series.add(at, value)
        if admission != "new" or reading.late or reading.retained:
            return admission
        heard, window, before, last = self.heard, self.window, self.value, self.raw
        if heard is not None:
            if at < heard:
                return admission
            if at - heard > self.silent_after:
                del window[:]
        if self.leaps and before is not None and last is not None:
            jumped = not -JUMP <= last - before <= JUMP
            if jumped and abs(value - before) <= JUMP:
                self.spoil(heard or at)
                self.leapt = True
        window.append(value)
        if len(window) > self.width:
            del window[0]
        self.heard, self.raw, self.value = at, value, _middle(window)
        return admission

    def fresh(self, now: float) -> bool:
        return self.heard is not None and now - self.heard <= self.silent_after

    def good(self, now: float) -> bool:
        """Believed: it answers, and nothing speaks against it."""
        if self.suspect or self.heard is None:
            return False
        return now - self.heard <= self.silent_after

    @property
    def lag(self) -> float:
        """Seconds between the middle of the filtered readings and the last."""
        count, times, heard = len(self.window), self.series.times, self.heard
        behind = count // 2
        if count < 3 or heard is None or len(times) <= behind:
            return 0.0
        lag = heard - times[-1 - behind]
        return lag if lag > 0.0 else 0.0

    def known(self, now: float) -> float | None:
        """The value of a probe that is believed now."""
        return self.value if self.good(now) else None


def _middle(window: array[float]) -> float:
    """Mean of the middle three (two of an even count), the median of three, the latest of two."""
    count = len(window)
    if count < 3:
        return window[-1]
    if count == 3:
        low, high, third = window
        if low > high:
            low, high = high, low
        return low if third < low else third if third < high else high
    ordered = sorted(window)
    if count == WINDOW:
        return (ordered[2] + ordered[3] + ordered[4]) / 3
    half = count // 2
    if count % 2:
        return (ordered[half - 1] + ordered[half] + ordered[half + 1]) / 3
    return (ordered[half - 1] + ordered[half]) / 2


class PlaceState:
    """One place as its probes tell it."""

    __slots__ = (
        "at",
        "centre",
        "last_good",
        "place",
        "product",
        "products",
        "revised",
        "series",
        "value",
    )

    def __init__(self, place: Place, products: list[ProbeState]) -> None:
        self.place = place
        self.products = products
        self.series = products[0].series if len(products) == 1 else Series()
        self.value: float | None = None
        """The product now, None while nothing good measures it."""
        self.at: float | None = None
        self.centre: float | None = None
        """The moment that the value stands for: the middle of the readings behind it."""
        self.last_good: float | None = None
        self.product: float | None = None
        """The last product that was believed."""
        self.revised = 0
        """Rises when the record of the past came to tell more than before: late readings, or a
        doubt that is over."""

    def refresh(self, now: float) -> None:
        """The median of the good probes, the value by hand left out."""
        products = self.products
        if len(products) == 1:
            self._follow(products[0], now)
            return
        good = [probe_state for probe_state in products if probe_state.good(now)]
        if not good:
            self.value = None
            return
        if len(good) == 1:
            self.value, self.at = good[0].value, good[0].heard
            self.centre = self.at - good[0].lag if self.at is not None else None
        else:
            values = sorted(
                probe_state.value for probe_state in good if probe_state.value is not None
            )
            middle = len(values) // 2
            even = (values[middle - 1] + values[middle]) / 2
            self.value = values[middle] if len(values) % 2 else even
            self.at = max(
                probe_state.heard for probe_state in good if probe_state.heard is not None
            )
            self.centre = self.at - max(probe_state.lag for probe_state in good)
        self.product, self.last_good = self.value, self.at
        if self.at is not None and self.value is not None:
            self.series.add(self.at, self.value)

    def _follow(self, only: ProbeState, now: float) -> None:
        """The same of a place with one probe, whose series is the place's own."""
        heard = only.heard
        if only.suspect or heard is None or now - heard > only.silent_after:
            self.value = None
            return
        self.value = self.product = only.value
        self.at = self.last_good = heard
        self.centre = heard - only.lag

    def lapsed(self, now: float) -> bool:
        """Whether it has a value though none of its probes is good any more."""
        return self.value is not None and not any(probe.good(now) for probe in self.products)
