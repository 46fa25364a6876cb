"""What an addition does to a mash: whether one is due or was logged, and where it lands."""

from __future__ import annotations

from kuraban.core.entries import INGREDIENTS
from kuraban.core.plan.plan_view import SubjectView
from kuraban.core.plan.subject_state import Batch
from kuraban.core.units import HOUR

LATELY = 6 * HOUR
"""So long before its time a stage may be filled, and so long after it an addition shows."""
NEAR, AT_AIR_NEAR = 3.0, 2.5
"""K from where the filled stage begins; the same of a value that might be the air's as well."""


def landing(batch: Batch, now: float) -> float | None:
    """Degrees at which the filling stage that comes next begins; None where none is to come."""
    standing = batch.plan.standing(now)
    following = standing.span.stage + 1
    if following >= len(batch.course.stages) or standing.stage.ends != "crew":
        return None
    return batch.course.stages[following].points[0][1]


def due(batch: Batch, now: float) -> bool:
    """Whether the next stage may be filled by now, by the length of the present one."""
    return now >= batch.plan.standing(now).span.due - LATELY


def logged_lately(known: SubjectView, now: float, within: float = LATELY) -> bool:
    """Whether something was logged as poured in, or a stage as begun."""
    work = known.last_work
    if work is None or not now - within <= work[1] <= now:
        return False
    return work[0] == "stage" or work[0] in INGREDIENTS


def explains(
    batch: Batch | None, known: SubjectView, value: float, held: float, at_air: bool, now: float
) -> bool:
    """Whether an addition makes `value` of what was `held`: one that was logged either way, warm
    rice into cold water too; one that is due by a fall to about where it lands."""
    if batch is None:
        return False
    near = AT_AIR_NEAR if at_air else NEAR
    if logged_lately(known, now):
        begins = [batch.plan.standing(now).stage.points[0][1], landing(batch, now)]
        return not at_air or any(abs(value - one) <= near for one in begins if one is not None)
    lands = landing(batch, now)
    return value < held and lands is not None and due(batch, now) and abs(value - lands) <= near
