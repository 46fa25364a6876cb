"""Humidity of the koji room from a dry and a wet thermometer, and back.

A brewery reads the koji room by its wet-bulb depression (kanshitsu-sa): how far the wetted
thermometer stands below the dry one. Relative humidity follows from

    e = e_s(wet) - A · p · (dry - wet),    RH = 100 · e / e_s(dry)

(Sprung; JIS Z 8806). A depends on the draught past the wick, and it is what matters most:

- 0.000662 /K  aspirated, 3 m/s or more (JIS Z 8806, = 0.5 K per 755 mmHg);
- 0.000800 /K  natural draught of about 1 m/s (FAO Irrigation Paper 56, from memory);
- 0.001200 /K  still air indoors (same source).

At 35 °C dry and 30 °C wet the last gives 4.8 %RH less than the first. JIS is the default here,
because printed tables use it; a wick of the koji room counts as in still air. Air pressure matters
little: 0.4 %RH from the sea to 1000 m. A dry or dirty wick reads nearer the dry thermometer, so the
room looks humid: a false high. And two probes of ±0.5 K make about ±4 %RH at 35/33 °C.

Pressures are Pa, humidity is % of saturation over water, temperatures are °C.
"""

from __future__ import annotations

import math

from kuraban.errors import OutOfRange
from kuraban.trade.limits import above, within
from kuraban.trade.numerics import rising_root

STANDARD_PRESSURE = 101_325.0
"""Air pressure at sea level, Pa."""

ASPIRATED = 0.000662
"""Psychrometer coefficient with a fan, per K (JIS Z 8806)."""

NATURAL_DRAUGHT = 0.000800
"""The same in a natural draught of about 1 m/s, per K (FAO 56, from memory)."""

STILL_AIR = 0.001200
"""The same indoors without ventilation, per K (FAO 56, from memory)."""

DRAUGHTS = {"fan": ASPIRATED, "natural": NATURAL_DRAUGHT, "still": STILL_AIR}
"""By the draught past a wick, as people name it."""


def air_pressure(altitude: float) -> float:
    """Pa at `altitude` m above the sea, -500 to 3000, in the standard atmosphere.

    Weather moves it by ±3 %. Raises OutOfRange. Source: ICAO Doc 7488 (ISO 2533).
    """
    metres = within(altitude, -500, 3000, what="altitude", unit="m")
    return STANDARD_PRESSURE * math.pow(1 - 2.25577e-5 * metres, 5.25588)


def saturation_pressure(celsius: float) -> float:
    """Vapour pressure over water, Pa, at -40 to 100 °C; below 0 °C over supercooled water.

    Pure phase, without the 0.4 % that air adds. Error below 0.05 % from 0 to 60 °C.
    Raises OutOfRange. Source: Sonntag 1990, Z. Meteorol. 70:340, as in JIS Z 8806.
    """
    kelvin = within(celsius, -40, 100, what="temperature", unit="°C") + 273.15
    return math.exp(
        -6096.9385 / kelvin
        + 21.2409642
        - 2.711193e-2 * kelvin
        + 1.673952e-5 * kelvin * kelvin
        + 2.433502 * math.log(kelvin)
    )


def vapour_pressure(
    dry: float, wet: float, coefficient: float = ASPIRATED, pressure: float = STANDARD_PRESSURE
) -> float:
    """Vapour pressure in the air, Pa, from a psychrometer whose wick is not frozen.

    `dry` and `wet` 0 to 100 °C with wet <= dry, `coefficient` 0.0005 to 0.002 /K, `pressure`
    70 000 to 110 000 Pa. Raises OutOfRange, also for a depression greater than quite dry air
    would give. Source: JIS Z 8806.
    """
    _psychrometer(coefficient, pressure)
    within(dry, 0, 100, what="dry bulb", unit="°C")
    within(wet, 0, dry, what="wet bulb beside this dry bulb", unit="°C")
    vapour = saturation_pressure(wet) - coefficient * pressure * (dry - wet)
    if vapour < 0:
        raise OutOfRange(
            f"wet bulb: {wet:g} °C beside {dry:g} °C dry is lower than dry air can make it; "
            f"at least {_wet_bulb_at(dry, 0.0, coefficient, pressure):.1f} °C"
        )
    return vapour


def relative_humidity(
    dry: float, wet: float, coefficient: float = ASPIRATED, pressure: float = STANDARD_PRESSURE
) -> float:
    """Relative humidity, 0 to 100 %, from dry and wet bulb.

    Within 0.3 %RH (depression to 5 K) or 0.5 %RH (10 K) of other ventilated formulae from 25 to
    45 °C. Arguments, errors and source as in `vapour_pressure`.
    """
    return 100 * vapour_pressure(dry, wet, coefficient, pressure) / saturation_pressure(dry)


def wet_bulb(
    dry: float,
    humidity: float,
    coefficient: float = ASPIRATED,
    pressure: float = STANDARD_PRESSURE,
) -> float:
    """What a wet bulb would read, °C, at `humidity` 0 to 100 %: the inverse of the above.

    `dry` 0 to 100 °C; solved to 1e-6 K. Raises OutOfRange, also where the wick would freeze.
    """
    _psychrometer(coefficient, pressure)
    within(dry, 0, 100, what="dry bulb", unit="°C")
    within(humidity, 0, 100, what="relative humidity", unit="%")
    vapour = humidity / 100 * saturation_pressure(dry)
    if vapour < saturation_pressure(0) - coefficient * pressure * dry:
        raise OutOfRange(f"wet bulb: a wick at {dry:g} °C and {humidity:g} % would freeze")
    return _wet_bulb_at(dry, vapour, coefficient, pressure)


def depression(
    dry: float,
    humidity: float,
    coefficient: float = ASPIRATED,
    pressure: float = STANDARD_PRESSURE,
) -> float:
    """The wet-bulb depression, K (0 or more), that goes with `humidity` %; as in `wet_bulb`."""
    return dry - wet_bulb(dry, humidity, coefficient, pressure)


def dew_point(celsius: float, humidity: float) -> float:
    """Dew point, °C, of air at 0 to 100 °C and `humidity` above 0 to 100 %; over water.

    Solved to 1e-6 K; raises OutOfRange, also where it would be below -40 °C. Source: Sonntag 1990.
    """
    within(celsius, 0, 100, what="temperature", unit="°C")
    within(above(humidity, 0, what="relative humidity", unit="%"), 0, 100, what="relative humidity")
    vapour = humidity / 100 * saturation_pressure(celsius)
    return rising_root(lambda t: math.log(saturation_pressure(t) / vapour), -40, celsius)


def _psychrometer(coefficient: float, pressure: float) -> None:
    within(coefficient, 0.0005, 0.002, what="psychrometer coefficient", unit="/K")
    within(pressure, 70_000, 110_000, what="air pressure", unit="Pa")


def _wet_bulb_at(dry: float, vapour: float, coefficient: float, pressure: float) -> float:
    def excess(wet: float) -> float:
        return saturation_pressure(wet) - coefficient * pressure * (dry - wet) - vapour

    return rising_root(excess, -40, dry)
