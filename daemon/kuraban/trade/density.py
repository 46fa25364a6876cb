"""How far the mash has come: hydrometer, Baume, SMV and the day when Baume reaches zero.

The sake meter value (nihonshu-do, SMV) is (1 / SG - 1) · 1443, SG at 15 °C against water at 4 °C,
and ten times Baume with the sign turned. Heavy, sweet mash has a negative SMV. Brewers write Baume
while it is above about 3 and SMV after. Pure water at 15 °C reads +1.26.

BMD is the day after tome times that day's Baume. It rises to a hump and falls: early and low is a
ferment that was fast first (zenkyu), late and high one that was slow first (zenkan). A line through
two points of the fall crosses zero on the day when Baume will be zero. Early such lines run late
(from days 8 and 9 of one batch it said day 22, from days 11 and 12 day 16): draw it anew every day.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from kuraban.errors import OutOfRange
from kuraban.trade.limits import above, within

SMV_PER_SG = 1443.0
"""SMV = (1 / SG - 1) · 1443 (Measurement Act; Nada Sake Research Group glossary, "SMV")."""


def smv_from_sg(sg: float) -> float:
    """SMV from specific gravity 15/4 °C, 0.8 to 1.3. Raises OutOfRange. Source: Measurement Act."""
    return (1 / within(sg, 0.8, 1.3, what="specific gravity") - 1) * SMV_PER_SG


def sg_from_smv(smv: float) -> float:
    """Specific gravity 15/4 °C from SMV, -300 to 300. Raises OutOfRange. Source: as above."""
    return SMV_PER_SG / (SMV_PER_SG + within(smv, -300, 300, what="SMV"))


def baume_from_smv(smv: float) -> float:
    """Baume degrees from SMV, -300 to 300: -SMV / 10. Raises OutOfRange. Source: Nada glossary."""
    return -within(smv, -300, 300, what="SMV") / 10


def smv_from_baume(baume: float) -> float:
    """SMV from Baume degrees, -30 to 30. Raises OutOfRange. Source: Nada glossary, "SMV"."""
    return -10 * within(baume, -30, 30, what="Baume")


def hydrometer_at_15(smv: float, celsius: float, alcohol: float) -> float:
    """SMV at 15 °C from a hydrometer read at `celsius`, 5 to 30, in liquor of `alcohol`, 0 to 22 %.

    A warm sample reads too dry, 0.3 to 0.4 SMV per K near 15 %. Error ±10 % of the correction: a
    sweet mash expands a little more than the same alcohol in water. `smv` -150 to 50.
    Raises OutOfRange. Source: expansion of ethanol and water near 15 °C, computed from the
    properties of Melinder 2010 (CoolProp INCOMP::MEA); glass 0.25e-4 per K.
    """
    within(smv, -150, 50, what="SMV")
    warmer = within(celsius, 5, 30, what="sample temperature", unit="°C") - 15
    within(alcohol, 0, 22, what="alcohol", unit="%")
    liquid, glass = (1.5 + 0.0045 * alcohol * alcohol) * 1e-4, 0.25e-4
    return smv_from_sg(sg_from_smv(smv) * (1 + (liquid - glass) * warmer))


def bmd(day: float, baume: float) -> float:
    """BMD: moromi day (tome is day 1; 0 to 60) times Baume (-3 to 20). Raises OutOfRange.

    Source: Nada Sake Research Group glossary, "BMD curve".
    """
    return within(day, 0, 60, what="moromi day") * within(baume, -3, 20, what="Baume")


@dataclass(frozen=True, slots=True)
class ZeroDay:
    """The moromi day on which Baume reaches zero: `likely`, between `earliest` and `latest`."""

    earliest: float
    likely: float
    latest: float


def forecast_zero(samples: Sequence[tuple[float, float]]) -> ZeroDay | None:
    """Forecast from (moromi day, Baume) pairs, days ascending, 1 or more.

    `likely` is the line through the last two points of the fall; the range spans the lines of the
    last three steps and the line from the peak to the last point, which runs late. None before
    BMD has turned down or while its last step rises. Raises OutOfRange for days that do not ascend.
    Source: Nada glossary, "BMD curve"; the range is computed.
    """
    points = [(day, bmd(day, baume)) for day, baume in samples]
    if not points or any(b[0] <= a[0] for a, b in pairwise(points)):
        raise OutOfRange("samples: moromi days in ascending order, at least one")
    peak = max(range(len(points)), key=lambda i: points[i][1])
    fall = points[peak:]
    if len(fall) < 2 or fall[-1][1] >= fall[-2][1]:
        return None
    recent = [_zero(a, b) for a, b in pairwise(fall[-4:]) if b[1] < a[1]]
    days = [*recent, _zero(fall[0], fall[-1])]
    return ZeroDay(min(days), recent[-1], max(days))


def alcohol_by_fall(alcohol: float, baume: float, baume_now: float, slope: float = 1.0) -> float:
    """Rough alcohol, % ABV, when Baume has fallen from `baume` to `baume_now` since `alcohol` %.

    `slope` 0.5 to 2 % a degree: 1.0 in one batch after the Baume peak, each yeast has its own line
    (A-B line). ±1 % ABV at best. Raises OutOfRange. Source: common practice, one batch.
    """
    within(alcohol, 0, 22, what="alcohol", unit="%")
    within(slope, 0.5, 2, what="slope", unit="% per degree")
    fall = within(baume, -3, 20, what="Baume") - within(baume_now, -3, 20, what="Baume now")
    return alcohol + slope * fall


def sweetness(smv: float, acidity: float) -> float:
    """Sweet (positive) or dry (negative), about -3 to 3, from SMV and acidity in mL (0 to 10).

    193593 / (1443 + SMV) - 1.16 · acidity - 132.57. Raises OutOfRange.
    Source: Sato et al. 1974, J. Soc. Brew. Japan 69:774.
    """
    within(smv, -300, 300, what="SMV")
    return 193_593 / (SMV_PER_SG + smv) - 1.16 * within(acidity, 0, 10, what="acidity") - 132.57


def _zero(earlier: tuple[float, float], later: tuple[float, float]) -> float:
    fall = above(earlier[1] - later[1], 0, what="fall of BMD")
    return later[0] + later[1] * (later[0] - earlier[0]) / fall
