"""What a thermometer is worth: resistance, tolerance, code words, and the ice-point check.

A platinum sensor (Pt100, IEC 60751) follows R = 100 (1 + At + Bt² + [t < 0] C (t - 100) t³). Class
B may err by 0.35 K at 10 °C, so it cannot carry a band of ±0.3 K without an ice-point offset. One
ohm of lead, uncompensated, is 2.6 K.

The common digital probe (DS18B20) says sixteenths of a degree in 16 bits and guards its scratchpad
with a CRC that nine zero bytes pass: a dead line reads as a perfect 0.0 °C. Its other lies are 85.0
(power-up, no conversion done), 127.9375 (too little power) and, from many libraries, -127
(disconnected).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from kuraban.errors import OutOfRange
from kuraban.trade.limits import above, all_finite, within
from kuraban.trade.robust import mad, median
from kuraban.trade.solve import rising_root

_A, _B, _C = 3.9083e-3, -5.775e-7, -4.183e-12  # IEC 60751


def pt100_ohms(celsius: float) -> float:
    """Resistance of a Pt100, ohm, at -200 to 850 °C. Raises OutOfRange.

    Printed tables round to 0.01 ohm (0.03 K). Source: IEC 60751:2008 (from memory).
    """
    t = within(celsius, -200, 850, what="temperature", unit="°C")
    cold = _C * (t - 100) * t**3 if t < 0 else 0.0
    return 100 * (1 + _A * t + _B * t * t + cold)


def pt100_celsius(ohms: float) -> float:
    """Temperature of a Pt100, °C, from 18.52 to 390.49 ohm; the inverse, solved to 1e-6 K.

    Raises OutOfRange. Source: as `pt100_ohms`.
    """
    within(ohms, 18.52, 390.49, what="resistance", unit="ohm")
    if ohms >= 100:
        return (-_A + math.sqrt(_A * _A - 4 * _B * (1 - ohms / 100))) / (2 * _B)
    coldest = pt100_ohms(-200)
    return rising_root(lambda t: pt100_ohms(t) - max(ohms, coldest), -200, 0)


class PtClass(StrEnum):
    """Tolerance classes of platinum sensors, IEC 60751."""

    AA = "AA"
    A = "A"
    B = "B"
    C = "C"


# fixed K, K per °C, wire-wound and film range in °C: IEC 60751:2008, tables 2 and 3 (from memory)
_CLASSES = {
    PtClass.AA: (0.10, 0.0017, (-50, 250), (0, 150)),
    PtClass.A: (0.15, 0.002, (-100, 450), (-30, 300)),
    PtClass.B: (0.30, 0.005, (-196, 600), (-50, 500)),
    PtClass.C: (0.60, 0.010, (-196, 600), (-50, 600)),
}


def pt100_tolerance(celsius: float, grade: PtClass, *, film: bool = True) -> float:
    """Greatest error, ±K, that a sensor of this class may have at `celsius`.

    `film` or wire-wound limits the range in which the class holds. Raises OutOfRange outside it.
    Source: IEC 60751:2008.
    """
    fixed, share, wire_range, film_range = _CLASSES[grade]
    low, high = film_range if film else wire_range
    within(celsius, low, high, what=f"temperature for class {grade}", unit="°C")
    return fixed + share * abs(celsius)


def ds18b20_celsius(code: int) -> float:
    """°C from the 16-bit two's complement code (0 to 0xFFFF) in sixteenths of a degree.

    Raises OutOfRange. Source: DS18B20 data sheet 19-7487 (from memory).
    """
    within(code, 0, 0xFFFF, what="code")
    return (code - 0x10000 if code >= 0x8000 else code) / 16


def ds18b20_accuracy(celsius: float) -> float:
    """Greatest error, ±K, of the genuine chip at -55 to 125 °C: 0.5 from -10 to 85, then 1, then 2.

    Drift of ±0.2 K (3σ) comes on top; copies of the chip deviate. Raises OutOfRange.
    Source: DS18B20 data sheet 19-7487 (from memory).
    """
    within(celsius, -55, 125, what="temperature", unit="°C")
    if -10 <= celsius <= 85:
        return 0.5
    return 1.0 if -30 <= celsius <= 100 else 2.0


def crc8(data: bytes) -> int:
    """The one-wire check sum, 0 to 255: x⁸ + x⁵ + x⁴ + 1, reflected, from 0.

    Data with its own check sum appended give 0. Source: Maxim application note 27.
    """
    crc = 0
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = (crc >> 1) ^ 0x8C if crc & 1 else crc >> 1
    return crc


def scratchpad_believable(scratchpad: bytes) -> bool:
    """Do the nine bytes of a scratchpad pass: check sum right, and not all zero (a dead line)?

    False for any other length. Source: Maxim application note 27; Linux w1_therm documentation.
    """
    return len(scratchpad) == 9 and any(scratchpad) and crc8(scratchpad) == 0


def bus_error(celsius: float, before: float | None, *, jump: float = 5.0) -> str | None:
    """The meaning of an error code in place of a temperature, or None for a temperature.

    -127, 127.9375 and 127.94 are never temperatures. 85.0 and 0.0 are codes only when reached by a
    jump of at least `jump` K (> 0) from the reading `before`; as the very first reading, `before`
    None, 85.0 is one (a chip just powered) and 0.0 is not. Raises OutOfRange for a jump of 0.
    Source: Linux w1_therm documentation; -127 is the common libraries' own.
    """
    above(jump, 0, what="jump", unit="K")
    if celsius == -127:
        return "disconnected"
    if celsius in (127.9375, 127.94):
        return "too little power"
    jumped = celsius == 85.0 if before is None else abs(celsius - before) >= jump
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
