"""CoolProp's own functions, imported where they are asked: that takes seconds."""

from __future__ import annotations


def props(*asked: object) -> float:
    """What CoolProp's PropsSI says of a fluid, in SI units."""
    from CoolProp.CoolProp import PropsSI

    return float(PropsSI(*asked))


def humid_air_props(*asked: object) -> float:
    """What CoolProp's HAPropsSI says of humid air, in SI units."""
    from CoolProp.HumidAirProp import HAPropsSI

    return float(HAPropsSI(*asked))
