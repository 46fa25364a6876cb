"""How far the mash has come: hydrometer, Baume, SMV and the day when Baume reaches zero.

The sake meter value (nihonshu-do, SMV) is (1 / SG - 1) · 1443, SG at 15 °C against water at 4 °C,
and ten times Baume with the sign turned. Heavy, sweet mash has a negative SMV. Brewers write Baume
while it is above about 3 and SMV after. Pure water at 15 °C reads +1.26.

BMD is the moromi day, tome being day 1, times that day's Baume. It rises to a hump and falls: early
and low is a ferment that was fast first (zenkyu), late and high one that was slow first (zenkan).
The trade draws a line from the hump through a later point: where it crosses zero, Baume will be
zero. Such lines run late, the more the earlier they are drawn (one batch, at zero about day 15,
said day 22 from days 8 and 9); a line through Baume itself runs early, since the fall slows down.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

from kuraban.errors import OutOfRange
from kuraban.trade.limits import within
from kuraban.trade.liquids import STRONGEST, alcohol_density, by_mass, sugar_density

SMV_PER_SG = 1443.0
"""SMV = (1 / SG - 1) · 1443 (Measurement Act; Nada Sake Research Group glossary, "SMV")."""
GLASS = 25e-6
"""Share by which a hydrometer's glass grows in a K (ISO 387, from memory)."""
ALCOHOL_ERROR, CELSIUS_ERROR, SUGAR_ERROR = 1.0, 0.3, 0.3
"""What may be off: % ABV, K of the sample, the share of what its sugar does (common practice)."""
READING_ERROR = 0.05
"""Baume by which two hydrometer readings of one mash may differ (common practice)."""
STEPS = 3
"""Latest samples of a fall from which lines are drawn (common practice)."""
LONGEST_MASH = 60.0
"""Moromi days that no mash lives."""


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


class Corrected(NamedTuple):
    """SMV at 15 °C, and by how much the correction may be off."""

    smv: float
    error: float


def hydrometer_at_15(
    smv: float, celsius: float, alcohol: float, alcohol_error: float = ALCOHOL_ERROR
) -> Corrected:
    """SMV at 15 °C from a hydrometer read at `celsius`, 5 to 30, in liquor of `alcohol`, 0 to 22 %.

    A warm sample reads too dry: 0.35 SMV per K near 15 % and 20 °C, half of that near 8 °C, more
    above 25 °C and in a sweet mash. `smv` -150 to 50. The error joins those of alcohol (known to
    `alcohol_error`, %), sample temperature and sugar. Raises OutOfRange. Source: OIML R 22 and
    ICUMSA (`liquids`), sugar and alcohol taken to stretch each on its own.
    """
    within(smv, -150, 50, what="SMV")
    within(celsius, 5, 30, what="sample temperature", unit="°C")
    within(alcohol, 0, STRONGEST, what="alcohol", unit="%")
    sugar = max(extract(sg_from_smv(smv), alcohol), 0.0) / (100 * sg_from_smv(smv))

    def at_15(degrees: float, percent: float, sweet: float) -> float:
        return smv_from_sg(sg_from_smv(smv) * _shrinks(degrees, percent, sweet))

    likely = at_15(celsius, alcohol, sugar)
    stronger, weaker = min(alcohol + alcohol_error, STRONGEST), max(alcohol - alcohol_error, 0.0)
    by_alcohol = (at_15(celsius, stronger, sugar) - at_15(celsius, weaker, sugar)) / 2
    by_celsius = likely - at_15(celsius + CELSIUS_ERROR, alcohol, sugar)
    by_sugar = SUGAR_ERROR * (likely - at_15(celsius, alcohol, 0.0))
    return Corrected(likely, math.hypot(by_alcohol, by_celsius, by_sugar))


def _shrinks(celsius: float, alcohol: float, sugar: float) -> float:
    """What a hydrometer's reading at `celsius` is to be multiplied by, as a density, for 15 °C."""
    share = by_mass(alcohol)
    by_alcohol = alcohol_density(share, 15) / alcohol_density(share, celsius)
    sweet = sugar_density(sugar, 15) / sugar_density(sugar, celsius)
    plain = alcohol_density(0, 15) / alcohol_density(0, celsius)
    return by_alcohol * sweet / plain / (1 + GLASS * (celsius - 15))


def extract(sample_sg: float, alcohol: float) -> float:
    """Extract, g per 100 mL, from the SG 15/4 °C of the sample (0.9 to 1.3) and its alcohol, %.

    (S - A) · 260 + 0.21, A the SG 15/15 °C of alcohol in water of that strength. Negative where
    the two do not fit. Raises OutOfRange.
    Source: National Tax Agency official analysis methods; Nada glossary, "Extract".
    """
    within(sample_sg, 0.9, 1.3, what="specific gravity of the sample")
    share = by_mass(within(alcohol, 0, STRONGEST, what="alcohol", unit="%"))
    alcohol_sg = alcohol_density(share, 15) / alcohol_density(0, 15)
    return (sample_sg - alcohol_sg) * 260 + 0.21


def original_extract(extract_now: float, alcohol: float) -> float:
    """Extract before the ferment, g per 100 mL: extract (0 to 60) + 1.5894 · alcohol % (0 to 22).

    Raises OutOfRange. Source: Nada Sake Research Group glossary, "Extract".
    """
    within(extract_now, 0, 60, what="extract", unit="g/100 mL")
    return extract_now + 1.5894 * within(alcohol, 0, STRONGEST, what="alcohol", unit="%")


def sweetness(smv: float, acidity: float) -> float:
    """Sweet (positive) or dry (negative), about -3 to 3, from SMV and acidity in mL (0 to 10).

    193593 / (1443 + SMV) - 1.16 · acidity - 132.57. Raises OutOfRange.
    Source: Sato et al. 1974, J. Soc. Brew. Japan 69:774.
    """
    within(smv, -300, 300, what="SMV")
    return 193_593 / (SMV_PER_SG + smv) - 1.16 * within(acidity, 0, 10, what="acidity") - 132.57


def bmd(day: float, baume: float) -> float:
    """BMD: moromi day (tome is day 1; 0 to 60) times Baume (-3 to 20). Raises OutOfRange.

    The trade counts whole brewery days: 3.8 at any hour of day 9 is 34.2.
    Source: Nada Sake Research Group glossary, "BMD curve".
    """
    return within(day, 0, LONGEST_MASH, what="moromi day") * within(baume, -3, 20, what="Baume")


@dataclass(frozen=True, slots=True)
class ZeroDay:
    """The moromi day on which Baume reaches zero: `likely`, between `earliest` and `latest`."""

    earliest: float
    likely: float
    latest: float


def forecast_zero(samples: Sequence[tuple[float, float]]) -> ZeroDay | None:
    """Forecast from (moromi day with its fraction, Baume) pairs, days ascending, 1 or more.

    `earliest` is the nearest zero of straight lines through Baume, from each of the last `STEPS`
    samples of BMD's fall to the latest; `latest` the farthest zero of such lines, and of that from
    the hump, through BMD; `READING_ERROR` is allowed for in both. `likely` is the geometric middle
    of the days left. On 1,500 invented batches, read to 0.05, the range with half a day more held
    the zero 95 times in a hundred. None before BMD has turned down, while its last step rises, and
    while `latest` is beyond any mash: then it has just turned. Raises OutOfRange for days that do
    not ascend.
    Source: Nada glossary, "BMD curve", for the line from the hump; the rest is computed.
    """
    points = [(day, baume, bmd(day, baume)) for day, baume in samples]
    if not points or any(b[0] <= a[0] for a, b in pairwise(points)):
        raise OutOfRange("samples: moromi days in ascending order, at least one")
    hump = max(range(len(points)), key=lambda i: points[i][2])
    *fall, (now, left, level) = points[hump:]
    if not fall or level >= fall[-1][2]:
        return None
    if left <= 0:
        return _passed(points)
    recent = fall[-STEPS:]
    fastest = max((b - left + READING_ERROR) / (now - day) for day, b, _ in recent)
    lines = (*recent, fall[0])
    flattest = min((m - level - READING_ERROR * now) / (now - day) for day, _, m in lines)
    if now + level / max(flattest, level / LONGEST_MASH) > LONGEST_MASH:
        return None
    soonest, longest = left / fastest, level / flattest
    return ZeroDay(now + soonest, now + math.sqrt(soonest * longest), now + longest)


def _passed(points: Sequence[tuple[float, float, float]]) -> ZeroDay | None:
    """Where Baume stood at zero, between the two samples on either side of it."""
    for (before, above, _), (after, below, _) in pairwise(points):
        if above > 0 >= below:
            day = before + (after - before) * above / (above - below)
            return ZeroDay(day, day, day)
    return None


def alcohol_by_fall(alcohol: float, baume: float, baume_now: float, slope: float) -> float:
    """Rough alcohol, % ABV, when Baume has fallen from `baume` to `baume_now` since `alcohol` %.

    `slope` 0.5 to 2 % a degree: 1.0 in one batch after the Baume peak, each yeast has its own line
    (A-B line). ±1 % ABV at best. Raises OutOfRange. Source: common practice, one batch.
    """
    within(alcohol, 0, STRONGEST, what="alcohol", unit="%")
    within(slope, 0.5, 2, what="slope", unit="% per degree")
    fall = within(baume, -3, 20, what="Baume") - within(baume_now, -3, 20, what="Baume now")
    return alcohol + slope * fall
