"""What in an analysis or an addition no mash and no tank can be.

A slip of the pen is likelier than a wonder: a sign, a decimal point, Baume in the place of SMV, the
line of another tank. All figures are common practice; they ask, they refuse nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import NamedTuple

from kuraban.core import entries as e
from kuraban.core.forecast.time_to_limit import baume_of
from kuraban.core.plan.fill_level import litres_of
from kuraban.core.texts.translator import figure, fill
from kuraban.core.units import DAY, HOUR
from kuraban.core.views.batch_sheet import Question

APART = 0.3
"""Baume by which Baume and SMV of one sample may differ."""
STRONGEST = 22.0
SHORTEST = 0.5
"""Days: two samples nearer than that are judged as if so far apart."""
WARMEST = {"rice": 45.0, "water-koji": 25.0, "water": 25.0, "late-water": 25.0, "yodan": 65.0}

SAID = {
    "moved": "{measure} {before} before and {now} now, {hours} h later: no mash moves so fast.",
    "two-values": "Baumé {baume} would be SMV {meant}, not {smv}.",
    "strong": "Alcohol {alcohol} %: no mash ferments beyond {strongest}.",
    "hydrometer": "The sample was at {celsius} °C: a hydrometer is corrected from 5 to 30 °C.",
}
"""The questions about an analysis in English."""
NAMES = {"baume": "Baumé", "alcohol": "Alcohol", "acidity": "Acidity"}

Earlier = list[tuple[float, e.Sample]]
"""The samples before, by time."""


class _Moves(NamedTuple):
    """How far a measure may go between two samples: at once, and more for each day."""

    name: str
    of: Callable[[e.Sample], float | None]
    down: tuple[float, float]
    up: tuple[float, float]


_BAUME = _Moves("baume", baume_of, down=(0.0, 3.0), up=(0.0, 3.0))
_FALLING = _BAUME._replace(up=(0.5, 0.0))
"""Once Baume has begun to fall it rises no more."""
_OTHERS = (
    _Moves("alcohol", lambda sample: sample.alcohol, down=(0.7, 0.0), up=(0.0, 3.0)),
    _Moves("acidity", lambda sample: sample.acidity, down=(0.5, 0.5), up=(0.5, 1.0)),
)


def of_sample(sample: e.Sample, at: float, earlier: Earlier) -> Iterator[str]:
    """Questions about an analysis, in the light of those before it, as sentences."""
    for question in asked_of_sample(sample, at, earlier):
        fields = dict(question.fields)
        if "measure" in fields:
            fields["measure"] = NAMES[fields["measure"]]
        yield fill(SAID[question.key], fields)


def asked_of_sample(sample: e.Sample, at: float, earlier: Earlier) -> Iterator[Question]:
    """The same by their keys, for whoever speaks another language."""
    yield from _alone(sample)
    fallen = [known for _, held in earlier if (known := baume_of(held)) is not None]
    begun = len(fallen) > 1 and fallen[-1] < fallen[-2]
    for measure in (_FALLING if begun else _BAUME, *_OTHERS):
        yield from _moved(measure, sample, at, earlier)


def _moved(measure: _Moves, sample: e.Sample, at: float, earlier: Earlier) -> Iterator[Question]:
    now = measure.of(sample)
    before = [(then, held) for then, s in earlier if (held := measure.of(s)) is not None]
    if now is None or not before:
        return
    then, held = before[-1]
    days = max((at - then) / DAY, SHORTEST)
    once, a_day = measure.up if now > held else measure.down
    if abs(now - held) > once + a_day * days:
        yield _asked("moved", measure=measure.name, before=figure(held), now=figure(now),
                     hours=f"{(at - then) / HOUR:.0f}")  # fmt: skip


def _alone(sample: e.Sample) -> Iterator[Question]:
    """What one sample says against itself."""
    baume, smv = sample.baume, sample.smv
    if baume is not None and smv is not None and abs(baume + smv / 10) > APART:
        meant, read = figure(-10 * baume, 0, True), figure(smv, 0, True)
        yield _asked("two-values", baume=figure(baume), meant=meant, smv=read)
    if sample.alcohol is not None and sample.alcohol > STRONGEST:
        yield _asked("strong", alcohol=figure(sample.alcohol), strongest=f"{STRONGEST:g}")
    heat = sample.hydrometer_celsius
    if heat is not None and not 5 <= heat <= 30:
        yield _asked("hydrometer", celsius=figure(heat))


def _asked(key: str, **fields: str) -> Question:
    return Question(key, tuple(fields.items()))


def of_addition(addition: e.Addition, litres: float | None, size: float | None) -> Iterator[str]:
    """Questions about an addition to a tank of `size` litres that holds `litres`."""
    warmest = WARMEST.get(addition.what)
    if addition.celsius is not None and warmest is not None and addition.celsius > warmest:
        yield f"{addition.what} at {figure(addition.celsius)} °C: above {warmest:g} is rare."
    more = litres_of(addition)
    if size is None or more is None:
        return
    whole = (litres or 0.0) + more
    if whole > size:
        held = "" if not litres else f" and {litres:.0f} that are in it"
        yield f"{more:.0f} L{held} do not go into {size:.0f} L."
