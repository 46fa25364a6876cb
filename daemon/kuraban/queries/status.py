"""What is watched now, what is not and why, and how the watch itself does: one screen's worth.

Times are Unix seconds, temperatures °C, rates °C an hour.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from kuraban.core.texts.messages import Words
from kuraban.core.views import snapshot as picture
from kuraban.core.views.snapshot import Going
from kuraban.queries.journal_state import JournalState
from kuraban.queries.snapshot import Painter, trouble_of
from kuraban.settings import Receiver
from kuraban.store.forwarded import Forwarded
from kuraban.store.history import RefusalCount

Word = Literal[
    "as planned", "a little warm", "a little cold", "warm", "cold", "past the limit, warm",
    "past the limit, cold", "in its band", "not measured",
]  # fmt: skip
PLAINLY: dict[picture.Word, Word] = {
    "as-planned": "as planned", "little-warm": "a little warm", "little-cold": "a little cold",
    "warm": "warm", "cold": "cold", "far-warm": "past the limit, warm",
    "far-cold": "past the limit, cold", "in-band": "in its band", "unknown": "not measured",
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
    """How an engine or a folder that keeps the long history does."""

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
    folder: HistoryNow | None
    impaired: dict[str, float]
    """Parts of the watch that fail, as conditions, and since when."""


def status(
    state: JournalState, path: Path, words: Words, engine: Receiver | None = None,
    folder: Receiver | None = None,
) -> Status:  # fmt: skip
    """Everything that a person asks of the watch; JournalError where the journal fails."""
    seen = Painter(words).snapshot(state.engine)
    assert seen is not None, "a journal that is asked has a house"
    return Status(
        asked=state.asked,
        site=seen.site,
        judged=tuple(_place(place) for place in seen.places if place.why is None),
        not_judged=tuple(
            Unjudged(id=place.id, name=place.name, why=place.why)
            for place in seen.places
            if place.why is not None
        ),
        standing=tuple(_standing(state, ring) for ring in seen.rings),
        probes=tuple(_probes(state)),
        journal=_journal(state, path),
        courier=_courier(state),
        history=None if engine is None else _history(path, engine),
        folder=None if folder is None else _history(path, folder),
        impaired=dict(state.engine.impaired),
    )


def _place(seen: picture.PlaceNow) -> PlaceNow:
    batch = seen.batch
    return PlaceNow(
        id=seen.id,
        name=seen.name,
        kind=seen.kind,
        word=PLAINLY[seen.word],
        product=seen.product,
        at=seen.at,
        planned=seen.planned,
        band=seen.band,
        difference=seen.difference,
        rate=seen.rate,
        going=seen.going,
        batch=None if batch is None else batch.title or batch.name,
        stage=None if batch is None else batch.stage_title.get("en") or batch.stage,
        day=None if batch is None else batch.day,
        hours=None if batch is None or seen.kind == "tank" else batch.hours,
        held=seen.held,
        held_until=seen.held_until,
    )


def _standing(state: JournalState, ring: picture.Ring) -> Standing:
    return Standing(
        alarm=ring.id,
        subject=ring.subject,
        condition=ring.condition,
        urgency=ring.urgency,
        state=ring.state,
        title=ring.title["en"],
        since=ring.since,
        by=None if ring.by is None else state.engine.view.house.called(ring.by),
        until=ring.until,
        once=ring.once,
        reason=ring.reason,
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
                trouble=trouble_of(view, probe.id, state.engine.now),
                refused=count.total,
                wild=count.wild,
                last_refusal=None if newest is None else newest.reason,
            )
        )
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
