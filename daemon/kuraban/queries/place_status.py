"""How a place stands: one word for it, which way it goes, and why it is not judged for the moment.

The pages and the terminal ask the same and must not answer differently.
"""

from __future__ import annotations

from kuraban.core.detectors.trending import LEAST_SLOPE
from kuraban.core.house_view import HouseView
from kuraban.core.plan.subject_state import Batch
from kuraban.core.planned_curve import Sides, Stage
from kuraban.core.probes.probe_view import PlaceView
from kuraban.core.views.snapshot import Going, Point, Word


def word_of(apart: float | None, stage: Stage) -> Word:
    """Where a product stands that is `apart` from its plan, K."""
    if apart is None:
        return "unknown"
    warm = apart > 0

    def beyond(sides: Sides) -> bool:
        return abs(apart) > (sides.above if warm else sides.below)

    if beyond(stage.limit):
        return "far-warm" if warm else "far-cold"
    if beyond(stage.tolerance):
        return "warm" if warm else "cold"
    if beyond(stage.notice):
        return "little-warm" if warm else "little-cold"
    return "as-planned"


def banded_word(value: float | None, band: tuple[float, float] | None) -> tuple[Word, float | None]:
    """Where an air or a water stands against its band, and how far beyond it is, K."""
    if value is None or band is None:
        return "unknown", None
    low, high = band
    apart = max(value - high, 0.0) or min(value - low, 0.0)
    return ("in-band" if not apart else "warm" if apart > 0 else "cold"), apart


def going_of(rate: float | None) -> Going | None:
    """Which way, by the rate as it is shown: what is told must not flicker with the last digits."""
    if rate is None:
        return None
    told = round(rate, 2)
    return "level" if abs(told) <= LEAST_SLOPE else "up" if told > 0 else "down"


def held_of(
    view: HouseView, place: str, batch: Batch, now: float
) -> tuple[str | None, float | None]:
    """Why the product is not judged against the plan for the moment, and until when."""
    masked = view.masked(place, now)
    if masked is not None:
        return "masked", masked
    settled = batch.settled_at(batch.plan.standing(now))
    if settled > now:
        return "settling", settled
    subject_state = view.entry_log.subject_states.get(place)
    if (
        subject_state is not None
        and subject_state.let_run is not None
        and subject_state.let_run.until > now
    ):
        return "let-run", subject_state.let_run.until
    return None, None


def last_of(known: PlaceView, since: float) -> Point | None:
    """The last product that was believed, of a batch that is there since then."""
    if known.last_good is None or known.product is None or known.last_good < since:
        return None
    return known.last_good, known.product
