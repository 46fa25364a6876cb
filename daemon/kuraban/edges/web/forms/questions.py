"""What a careful colleague would ask back about a tap before it is written down.

Whether an entry counts, and who may make it alone, the watch decides; this is about slips, and
about what somebody may not have seen: how far a product could go and nobody would be rung.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from kuraban.core.alarm_conditions import CONDITIONS
from kuraban.core.fates.entry_hazards import LONG_SHELF
from kuraban.core.site import House
from kuraban.core.units import parse_duration
from kuraban.core.views.snapshot import PlaceNow, Snapshot
from kuraban.edges.web.translator import Translator

CHECK_APART = 3.0
"""K between hand and probe from which it is asked whether that is right (common practice)."""

Told = Mapping[str, object]
ABOUT = {"check": "celsius", "addition": "kg", "let-run": "more", "shelve": "for"}
"""The field that is asked about, by entry."""


def asks(told: Told, snapshot: Snapshot, subject: str, house: House, w: Translator) -> str:
    """One question about an entry that these fields spell; empty for none."""
    known, question = snapshot.place(subject), _QUESTIONS.get(str(told.get("entry")))
    return "" if known is None or question is None else question(told, known, house, w)


def _check(told: Told, place: PlaceNow, house: House, w: Translator) -> str:
    hand, reads = told.get("celsius"), place.product
    if not isinstance(hand, float) or reads is None or abs(hand - reads) <= CHECK_APART:
        return ""
    return w("ask.check", reads=w.celsius(reads), hand=w.celsius(hand))


def _addition(told: Told, place: PlaceNow, house: House, w: Translator) -> str:
    kg, litres = told.get("kg"), house.place[place.id].litres
    if not isinstance(kg, float) or not litres or kg <= litres:
        return ""
    return w("ask.addition", kg=w.figure(kg, 0), litres=w.figure(litres, 0))


def _let_run(told: Told, place: PlaceNow, house: House, w: Translator) -> str:
    """Beyond the stage's limit, or what the course never allows."""
    more, batch, reads = told.get("more"), place.batch, place.product
    if not isinstance(more, float) or batch is None or place.planned is None:
        return ""
    base = place.planned if reads is None else reads
    course = house.course.get(batch.course)
    never = (float("-inf"), float("inf")) if course is None else course.never
    least = max(place.planned - batch.limit[0], never[0])
    most = min(place.planned + batch.limit[1], never[1])
    if least <= base - more and base + more <= most:
        return ""
    return w(
        "ask.let-run", lowest=w.figure(base - more), highest=w.celsius(base + more),
        least=w.figure(least), most=w.celsius(most),
    )  # fmt: skip


def _shelve(told: Told, place: PlaceNow, house: House, w: Translator) -> str:
    """For longer than somebody who sleeps may be trusted to wake."""
    condition = CONDITIONS.get(str(told.get("condition")))
    try:
        lasts = parse_duration(told.get("for"))
    except ValueError:
        return ""
    wakes = place.batch is not None and condition is not None and condition.urgency == "wake"
    if not wakes or lasts <= LONG_SHELF:
        return ""
    return w("ask.shelve", length=w.length(str(told["for"])), name=place.name)


_QUESTIONS: dict[str, Callable[[Told, PlaceNow, House, Translator], str]] = {
    "check": _check,
    "addition": _addition,
    "let-run": _let_run,
    "shelve": _shelve,
}
