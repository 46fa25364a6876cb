"""What a thermometer is worth: code words, and the ice-point check.

A platinum sensor of class B may err by 0.35 K at 10 °C (IEC 60751, from memory), so it cannot carry
a band of ±0.3 K without an ice-point offset.

The common digital probe (DS18B20) says sixteenths of a degree and guards them with a CRC that nine
zero bytes pass: a dead line reads as a perfect 0.0 °C. Its other lies are 85.0 (power-up, no
conversion done), 127.9375 (too little power) and, from many libraries, -127 (disconnected).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from kuraban.errors import OutOfRange
from kuraban.trade.limits import above, all_finite, within
from kuraban.trade.robust import mad, median

JUMP = 5.0
"""K from the reading before at which a value that could be a code is one (common practice)."""
ICE_ERROR = 0.5
"""K at 0 °C by which a good probe may be off: a DS18B20 (data sheet 19-7487, from memory). A Pt100
of class B may by 0.3 (IEC 60751, from memory)."""


def bus_error(celsius: float, before: float | None) -> str | None:
    """The meaning of an error code in place of a temperature, or None for a temperature.

    -127, 127.9375 and 127.94 are never temperatures. 85.0 and 0.0 are codes only when reached by a
    jump of at least `JUMP` from the reading `before`; as the very first reading, `before` None,
    85.0 is one (a chip just powered) and 0.0 is not.
    Source: Linux w1_therm documentation; -127 is the common libraries' own.
    """
    if celsius == -127:
        return "disconnected"
    if celsius in (127.9375, 127.94):
        return "too little power"
    jumped = celsius == 85.0 if before is None else abs(celsius - before) >= JUMP
    if not jumped:
        return None
    return {85.0: "power-up value", 0.0: "dead line"}.get(celsius)


@dataclass(frozen=True, slots=True)
class Offset:
    """An ice-point check: add `offset` K to every reading; good to ±`uncertainty` K (95 %)."""

    offset: float
    uncertainty: float
    readings: int


def ice_point_offset(
    readings: Sequence[float], *, bath: float = 0.1, resolution: float = 0.0625
) -> Offset:
    """Offset of a probe from 5 or more of its readings, °C, in melting ice (0.0 °C).

    `bath` is how far, K, the slush may be from 0: 0.1 for crushed tap ice, 0.02 for distilled ice,
    common practice; `resolution` is one step of the probe, K. The uncertainty joins the scatter of
    the median, the bath and the step (k = 2). It says nothing of 35 °C: check koji probes there
    too. Raises OutOfRange for readings beyond ±3 °C, which are no ice bath.
    Source: ice point as ASTM E563; uncertainties joined as JCGM 100:2008 (GUM).
    """
    middle = median(all_finite(readings, 5, what="readings in ice"))
    within(above(bath, 0, what="bath", unit="K"), 0, 1, what="bath", unit="K")
    within(resolution, 0, 1, what="resolution", unit="K")
    if abs(middle) > 3:
        raise OutOfRange(
            f"readings: their middle is {middle:g} °C; an ice bath reads within 3 of 0"
        )
    scatter = math.sqrt(math.pi / 2) * mad(readings) / math.sqrt(len(readings))
    parts = (scatter, bath / math.sqrt(3), resolution / math.sqrt(12))
    return Offset(-middle, 2 * math.hypot(*parts), len(readings))
