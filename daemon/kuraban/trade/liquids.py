"""How dense alcohol in water, and sugar in water, is at a temperature.

Alcohol in water is the general formula of the International Alcoholometric Tables (OIML R 22,
1975), from -20 to 40 °C: printed tables come from it. Sugar in water is the formula of ICUMSA for
sucrose (Bettin, Emmerich, Spieweck and Toth 1998, Zuckerindustrie 123:341, from memory), from 0 to
70 % and 0 to 80 °C. A mash holds glucose and longer sugars rather than sucrose; by weight they
stretch about as much (common practice).

Temperatures are °C, densities kg/m³, shares by mass 0 to 1. Alcohol by volume is % at 15 °C, as the
Liquor Tax Act counts it.
"""

from __future__ import annotations

from collections.abc import Sequence

from kuraban.trade.limits import within
from kuraban.trade.numerics import rising_root

STRONGEST = 22.0
"""% of alcohol below which all sake stays by law (Liquor Tax Act)."""

_AT_20 = (
    998.20123, -192.9769495, 389.1238958, -1668.103923, 13522.15441, -88292.78388, 306287.4042,
    -613838.1234, 747017.2998, -547846.1354, 223446.0334, -39032.85426,
)  # fmt: skip
"""OIML R 22, A: by powers of the share of alcohol."""
_OFF_20 = (
    (0.0, -2.0618513e-1, -5.2682542e-3, 3.6130013e-5, -3.8957702e-7, 7.1693540e-9, -9.9739231e-11),
    (0.0, 1.693443461530087e-1, -1.193013005057010e-2, -6.802995733503803e-4,
     4.075376675622027e-6, -2.788074354782409e-8),
    (0.0, -1.046914743455169e1, 2.517399633803461e-1, 1.876837790289664e-2,
     -8.763058573471110e-6, 1.345612883493354e-8),
    (0.0, 7.196353469546523e1, -2.170575700536993, -2.002561813734156e-1, 6.515031360099368e-6),
    (0.0, -7.047478054272792e2, 1.353034988843029e1, 1.022992966719220, -1.515784836987210e-6),
    (0.0, 3.924090430035045e3, -5.029988758547014e1, -2.895696483903638),
    (0.0, -1.210164659068747e4, 1.096355666577570e2, 4.810060584300675),
    (0.0, 2.248646550400788e4, -1.422753946421155e2, -4.672147440794683),
    (0.0, -2.605562982188164e4, 1.080435942856230e2, 2.458043105903461),
    (0.0, 1.852373922069467e4, -4.414153236817392e1, -5.411227621436812e-1),
    (0.0, -7.420201433430137e3, 7.442971530188783),
    (0.0, 1.285617841998974e3),
)  # fmt: skip
"""OIML R 22, B and C: for each power of the share of alcohol, by powers of t - 20."""
_SUGAR = (
    (385.1761, -46.2720, 59.7712, -47.2207, 18.3184),
    (135.3705, -7.1720, 7.2491, -21.6977, 12.3081),
    (40.9299, 1.1597, 12.3630, 27.6301),
    (-3.9643, 5.1126, -35.4791),
    (13.4853, 17.5254),
    (-17.2890,),
)
"""ICUMSA: for each power of the share of sugar from the first on, by powers of (t - 20) / 100."""


def alcohol_density(share: float, celsius: float) -> float:
    """kg/m³ of alcohol in water, 0 to 1 by mass, at -20 to 40 °C.

    Good to 0.01 kg/m³ at 20 °C, some hundredths off it. Raises OutOfRange. Source: OIML R 22.
    """
    within(share, 0, 1, what="share of alcohol")
    off = within(celsius, -20, 40, what="temperature", unit="°C") - 20
    return _power_sum(_AT_20, share) + _power_sum([_power_sum(c, off) for c in _OFF_20], share)


def sugar_density(share: float, celsius: float) -> float:
    """kg/m³ of sugar in water, 0 to 0.7 by mass, at 0 to 40 °C.

    Good to 0.1 kg/m³. Raises OutOfRange. Source: ICUMSA (Bettin et al. 1998).
    """
    within(share, 0, 0.7, what="share of sugar")
    off = (within(celsius, 0, 40, what="temperature", unit="°C") - 20) / 100
    more = share * _power_sum([_power_sum(c, off) for c in _SUGAR], share)
    return alcohol_density(0, celsius) + more


def by_mass(percent: float) -> float:
    """Share of alcohol by mass from % by volume at 15 °C, 0 to 100. Raises OutOfRange."""
    within(percent, 0, 100, what="alcohol", unit="%")
    pure = alcohol_density(1, 15)
    return rising_root(lambda p: p * alcohol_density(p, 15) / pure - percent / 100, 0, 1)


def _power_sum(coefficients: Sequence[float], x: float) -> float:
    total = 0.0
    for coefficient in reversed(coefficients):
        total = total * x + coefficient
    return total
