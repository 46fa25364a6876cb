"""What is watched now, what is not and why, and how the watch itself does: one screen's worth.

Times are Unix seconds, temperatures °C, rates °C an hour.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from kuraban.core.alarms.alarm_context import situation_of
from kuraban.core.alarms.life_cycle import Alarm, State
from kuraban.core.forecast.drift import drift_of
from kuraban.core.notify.priority import urgency_of
from kuraban.core.notify.reports import why_not_judged
from kuraban.core.plan.subject_state import Batch
from kuraban.core.site import Place
from kuraban.core.texts.messages import Words, page
from kuraban.core.units import HOUR
from kuraban.core.views import snapshot as picture
from kuraban.core.views.snapshot import Going
from kuraban.queries.journal_state import JournalState
from kuraban.queries.place_status import banded_word, going_of, held_of, word_of
from kuraban.settings import Receiver
from kuraban.store.forwarded import Forwarded
from kuraban.store.history import RefusalCount

Word = Literal[
    "as planned", "a little warm", "a little cold", "warm", "cold", "past the limit, warm",
    "past the limit, cold", "in its band", "not known",
]  # fmt: skip
PLAINLY: dict[picture.Word, Word] = {
    "as-planned": "as planned", "little-warm": "a little warm", "little-cold": "a little cold",
    "warm": "warm", "cold": "cold", "far-warm": "past the limit, warm",
    "far-cold": "past the limit, cold", "in-band": "in its band", "unknown": "not known",
}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class PlaceNow:
    """One place that is judged."""

    id: str
    name: str
    kind: str
    word: Word
    product: float | None = None
    """The product, or the air of a place with a band."""
    at: float | None = None
    planned: float | None = None
    band: tuple[float, float] | None = None
    difference: float | None = None
    rate: float | None = None
    going: Going | None = None
    batch: str | None = None
    stage: str | None = None
    day: int | None = None
    hours: float | None = None
    held: str | None = None
    """Why it is not judged for the moment, a `why.` key of the catalogue."""
    held_until: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Unjudged:
    id: str
    name: str
    why: str
    """A `why.` key of the catalogue."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """One alarm on the list."""

    alarm: str
    subject: str
    condition: str
    urgency: str
    state: str
    title: str
    since: float | None = None
    by: str | None = None
    until: float | None = None
    """By when it should be right, or until when it is quiet."""
    once: bool = False
    """Quiet only until it has returned to normal, if that is sooner."""
    reason: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ProbeNow:
    id: str
    of: str
    measures: str
    value: float | None = None
    at: float | None = None
    trouble: tuple[str, ...] = ()
    refused: int = 0
    wild: int = 0
    last_refusal: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class JournalNow:
    path: str
    bytes: int
    last_turn: float | None
    conflicts: int
    """Readings that told another value for a moment already known."""
    unknown_topics: int


@dataclass(frozen=True, slots=True, kw_only=True)
class CourierNow:
    waiting: int
    failed_at: float | None = None
    failed: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class HistoryNow:
    """How the engine that keeps the long history does."""

    url: str
    waiting: int
    """Rows that it does not have yet; no more are counted than a hundred thousand of a kind."""
    oldest: float | None = None
    """When the first of them was received."""
    set_aside: int = 0
    reason: str | None = None
    """Why the latest of the points that were set aside was refused."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Status:
    asked: float
    site: str
    judged: tuple[PlaceNow, ...]
    not_judged: tuple[Unjudged, ...]
    standing: tuple[Standing, ...]
    probes: tuple[ProbeNow, ...]
    journal: JournalNow
    courier: CourierNow
    history: HistoryNow | None
    impaired: dict[str, float]
    """Parts of the watch that fail, as conditions, and since when."""


def status(
    state: JournalState, path: Path, words: Words, receiver: Receiver | None = None
) -> Status:
    """Everything that a person asks of the watch; JournalError where the journal fails."""
    view = state.engine.view
    judged = [p for p in view.house.places if view.place_judged(p.id, state.engine.now)]
    rest = [p for p in view.house.places if p not in judged]
    return Status(
        asked=state.asked,
        site=view.house.site.name,
        judged=tuple(_place(state, place) for place in judged),
        not_judged=tuple(_unjudged(state, place) for place in rest),
        standing=tuple(_standing(state, words)),
        probes=tuple(_probes(state)),
        journal=_journal(state, path),
        courier=_courier(state),
        history=None if receiver is None else _history(path, receiver),
        impaired=dict(state.engine.impaired),
    )


def _place(state: JournalState, place: Place) -> PlaceNow:
    batch = state.engine.view.batch(place.id, state.engine.now)
    return _banded(state, place) if batch is None else _brewing(state, place, batch)


def _brewing(state: JournalState, place: Place, batch: Batch) -> PlaceNow:
    view, now = state.engine.view, state.engine.now
    standing = batch.plan.standing(now)
    known = view.product(place.id, now)
    drift = drift_of(view, place.id, batch, now)
    planned = batch.plan.at(now)
    rate = None if drift is None else drift.slope + batch.plan.slope(now)
    held, until = held_of(view, place.id, batch, now)
    apart = None if known is None else known[0] - planned
    return PlaceNow(
        id=place.id,
        name=place.name,
        kind=place.kind,
        word=PLAINLY[word_of(apart, standing.stage)],
        product=None if known is None else known[0],
        at=None if known is None else view.product_heard(place.id, now),
        planned=planned,
        difference=apart,
        rate=rate,
        going=going_of(rate),
        batch=batch.title or batch.name,
        stage=standing.stage.title.get("en") or standing.stage.id,
        day=batch.plan.day(now),
        hours=None if place.kind == "tank" else (now - batch.since) / HOUR,
        held=held,
        held_until=until,
    )


def _banded(state: JournalState, place: Place) -> PlaceNow:
    view, now = state.engine.view, state.engine.now
    probes = view.house.probes_of(place.id, "product", "air", "supply")
    probe_states = [view.probe_states[probe.id] for probe in probes]
    heard = next(
        (probe_state for probe_state in probe_states if probe_state.known(now) is not None), None
    )
    value = None if heard is None else heard.known(now)
    word, apart = banded_word(value, place.band)
    return PlaceNow(
        id=place.id, name=place.name, kind=place.kind, word=PLAINLY[word], product=value,
        at=None if heard is None else heard.heard, band=place.band, difference=apart,
    )  # fmt: skip


def _unjudged(state: JournalState, place: Place) -> Unjudged:
    why = why_not_judged(state.engine.view, place.id, state.engine.now) or "no-batch"
    return Unjudged(id=place.id, name=place.name, why=why)


def _standing(state: JournalState, words: Words) -> list[Standing]:
    """Alarms on the list: nobody's first, then those in hand, then those held back."""
    order = list(State)
    alarms = [alarm for alarm in state.engine.alarm_manager.alarms.values() if alarm.stands]
    alarms.sort(key=lambda alarm: (order.index(alarm.state), alarm.raised or alarm.since or 0.0))
    return [_alarm(state, alarm, words) for alarm in alarms]


def _alarm(state: JournalState, alarm: Alarm, words: Words) -> Standing:
    view, now = state.engine.view, state.engine.now
    situation = situation_of(view, state.engine.alarm_manager.alarms, alarm, now)
    until = alarm.until if alarm.state is State.SHELVED else alarm.in_hand_until
    return Standing(
        alarm=alarm.id,
        subject=alarm.subject,
        condition=alarm.condition,
        urgency=urgency_of(view, alarm, now),
        state=alarm.state.name.lower().replace("_", "-"),
        title=page(situation, "en", words, view.house.zone).title,
        since=alarm.since,
        by=None if alarm.by is None else view.house.called(alarm.by),
        until=until,
        once=alarm.once,
        reason=alarm.reason,
    )


def _probes(state: JournalState) -> list[ProbeNow]:
    view = state.engine.view
    last = {reading.probe: reading for reading in state.history.probes_last()}
    counts = {count.probe: count for count in state.history.refusal_counts()}
    found = []
    for probe in view.house.probes:
        reading, count = last.get(probe.id), counts.get(probe.id, RefusalCount(probe.id, 0, 0))
        newest = next(state.history.refusals(probe.id), None) if count.total else None
        found.append(
            ProbeNow(
                id=probe.id,
                of=probe.of,
                measures=probe.measures,
                value=None if reading is None else reading.value,
                at=None if reading is None else reading.at,
                trouble=tuple(_trouble(state, probe.id)),
                refused=count.total,
                wild=count.wild,
                last_refusal=None if newest is None else newest.reason,
            )
        )
    return found


def _trouble(state: JournalState, probe: str) -> list[str]:
    """Conditions that hold against a probe, whether they ring or not."""
    probe_state = state.engine.view.probe_states[probe]
    found: list[str] = sorted(probe_state.suspect - {"step"})
    if (
        probe_state.heard is not None
        and not probe_state.fresh(state.engine.now)
        and "silent" not in found
    ):
        found.append("silent")
    return found


def _journal(state: JournalState, path: Path) -> JournalNow:
    files = [path.with_name(path.name + tail) for tail in ("", "-wal")]
    counts = {count.probe: count.total for count in state.history.refusal_counts()}
    return JournalNow(
        path=str(path),
        bytes=sum(file.stat().st_size for file in files if file.exists()),
        last_turn=state.last_turn,
        conflicts=state.history.counts().conflicts,
        unknown_topics=counts.get(None, 0),
    )


def _courier(state: JournalState) -> CourierNow:
    failure = state.history.last_failure()
    at, reason = failure if failure is not None else (None, None)
    return CourierNow(waiting=state.history.unsent(), failed_at=at, failed=reason)


def _history(path: Path, receiver: Receiver) -> HistoryNow:
    forwarded = Forwarded(path, receiver.name, "ro")
    try:
        held = forwarded.progress()
    finally:
        forwarded.close()
    return HistoryNow(
        url=receiver.url,
        waiting=held.waiting,
        oldest=held.oldest,
        set_aside=held.set_aside,
        reason=held.reason,
    )
