"""What must outlive every update: who has which alarm in hand, and what was promised to whom.

The rest of the engine is memory of the code that made it, and another code lives through the last
hours anew. What people did about alarms cannot be had so: an answer of yesterday evening, a shelf,
a promise, an entry that waits for a second person. All of that stands here, as data with a version.
A value may be added with a default; who changes what one means gives `VERSION` the next number, and
says how the older comes to the newer.

`standing_of` reads it off an engine; `lay_over` gives it to one that has lived through the same
time in another way. Where the two engines differ about what holds, the one that looks now is
believed: a condition that is over returns, a new one rings, each as it would at any other time.
"""

from __future__ import annotations

from collections import deque
from datetime import date

import msgspec

from kuraban.core.alarm_conditions import CONDITIONS
from kuraban.core.alarms.alarm_manager import Doubted
from kuraban.core.alarms.life_cycle import Alarm, State
from kuraban.core.deadlines import BatchEnded, ClimbLadder, Deadline, Evening, Morning
from kuraban.core.detectors.base import Finding
from kuraban.core.effects import Message, Step, Urgency
from kuraban.core.engine.engine import Engine
from kuraban.core.engine.self_monitoring import PARTS
from kuraban.core.entries import Duration, Moment
from kuraban.core.equipment.cooler_habit import CoolerHabit
from kuraban.core.facts import Logged
from kuraban.core.notify.gathering import MANY_RINGS
from kuraban.core.notify.incidents import Incident
from kuraban.core.notify.message_writer import Sent
from kuraban.core.site import WATCH

VERSION = 1
Key = tuple[str, str]
"""A subject and a condition, or a subject and the id of an entry."""
OF_THE_DAY = (BatchEnded, Evening, Morning)
"""Deadlines that follow from the plans and the clock, and that every engine sets for itself."""


class AlarmState(msgspec.Struct, frozen=True, kw_only=True):
    """`core.alarms.life_cycle.Alarm`."""

    subject: str
    condition: str
    state: State
    active: bool
    since: float | None = None
    over: float | None = None
    raised: float | None = None
    value: float | None = None
    planned: float | None = None
    by: str | None = None
    evidence: tuple[str, ...] = ()
    worse: float | None = None
    acked_worse: float | None = None
    in_hand_until: float | None = None
    until: float | None = None
    once: bool = False
    reason: str | None = None


class IncidentState(msgspec.Struct, frozen=True, kw_only=True):
    """`core.notify.incidents.Incident`."""

    key: Key
    members: frozenset[str]
    lead: str
    rank: int
    urgency: Urgency
    role: str
    quick: bool
    open: bool
    at: float
    rung: int
    told: tuple[str, ...]
    rung_now: tuple[str, ...]
    follows: Key | None = None


class Told(msgspec.Struct, frozen=True, omit_defaults=True):
    """One part of the night's story."""

    step: Step | None = None
    message: Message | None = None


class People(msgspec.Struct, frozen=True, kw_only=True):
    """Who was told what, and what waits to be told."""

    incidents: tuple[IncidentState, ...] = ()
    waiting: tuple[Key, ...] = ()
    """Alarms for the morning report."""
    rung: dict[str, tuple[tuple[float, str], ...]] = {}
    """The latest rings of each person: when, and of which alarm."""
    gathering: dict[str, tuple[Key, ...]] = {}
    sent: dict[str, Sent] = {}
    """The latest pages, by the message's id."""
    serial: int = 0
    """Number of the latest message."""


class Standing(msgspec.Struct, frozen=True, kw_only=True):
    version: int = VERSION
    now: float
    alarms: tuple[AlarmState, ...] = ()
    doubted: tuple[Doubted, ...] = ()
    habits: dict[str, CoolerHabit] = {}
    """What is known of each cooler from longer ago than any warm-up."""
    people: People = People()
    pending: tuple[Logged, ...] = ()
    """Entries that wait for a second person."""
    known: bytes = b""
    """Entries that were taken, as `core.fates.known_entries` keeps them: also those of a journal
    that was set aside."""
    impaired: dict[str, float] = {}
    well_since: dict[str, float] = {}
    failed_since: dict[str, float] = {}
    away_since: float | None = None
    blind: float = 0.0
    deadlines: tuple[tuple[float, Deadline], ...] = ()
    night: tuple[Told, ...] = ()
    night_since: float = 0.0
    morning_said: date | None = None
    """The day of the latest morning report."""
    evening_said: date | None = None


def pack(standing: Standing) -> bytes:
    return _ENCODER.encode(standing)


def unpack(packed: bytes | memoryview | msgspec.Raw) -> Standing:
    """Raises msgspec.MsgspecError or ValueError for what is none, or of another version."""
    version = msgspec.msgpack.decode(packed, type=_Versioned).version
    if version != VERSION:
        raise ValueError(f"what stood is told in version {version}, and {VERSION} is known")
    return _DECODER.decode(packed)


class _Versioned(msgspec.Struct):
    version: int


def _seconds(kind: type, value: object) -> object:
    if kind in (Duration, Moment) and isinstance(value, float):
        return kind(value)
    raise TypeError(f"{value!r} is no {kind.__name__}")


_ENCODER = msgspec.msgpack.Encoder(enc_hook=float, order="deterministic")
_DECODER = msgspec.msgpack.Decoder(Standing, dec_hook=_seconds)


# Off an engine.


def standing_of(engine: Engine) -> Standing:
    """What stands in an engine that has a house."""
    handler, monitor = engine.entry_handler, engine.self_monitoring
    alarms = engine.alarm_manager.alarms.values()
    return Standing(
        now=engine.now,
        alarms=tuple(msgspec.convert(one, AlarmState, from_attributes=True) for one in alarms),
        doubted=tuple(engine.alarm_manager.doubted),
        habits=dict(engine.watched.state.habits.known),
        people=_people_of(engine),
        pending=tuple(held.logged for held in handler.pending.held.values()),
        known=handler.known.packed(),
        impaired=monitor.impaired,
        well_since=monitor.well_since,
        failed_since=monitor.failed_since,
        away_since=monitor.away_since,
        blind=engine.view.blind,
        deadlines=tuple(
            (item.at, item.deadline)
            for item in sorted(engine.deadlines.items)
            if not isinstance(item.deadline, OF_THE_DAY)
        ),
        night=tuple(
            Told(step=one) if isinstance(one, Step) else Told(message=one)
            for one in engine.daily_words.night
        ),
        night_since=engine.daily_words.night_since,
        morning_said=engine.daily_words.morning_plan.said,
        evening_said=engine.daily_words.evening_plan.said,
    )


def _people_of(engine: Engine) -> People:
    notifier = engine.notifier
    incidents = notifier.incidents.standing.values()
    gathering = notifier.gathering
    return People(
        incidents=tuple(
            msgspec.convert(one, IncidentState, from_attributes=True) for one in incidents
        ),
        waiting=tuple(notifier.deferred_alarms.waiting),
        rung={person: tuple(rings) for person, rings in gathering.rung.items()},
        gathering={person: tuple(keys) for person, keys in gathering.waiting.items()},
        sent=dict(notifier.writer.sent),
        serial=notifier.writer.serial,
    )


# Over an engine.


def lay_over(engine: Engine, standing: Standing) -> list[str]:
    """Let that stand in an engine which has lived up to the same moment by itself.

    Answers the alarms that were left out, since this code knows no such condition.
    """
    alarms, now = engine.alarm_manager.alarms, engine.now
    seen = {key: _finding(one, True, now) for key, one in alarms.items() if one.active}
    kept = [one for one in standing.alarms if one.condition in CONDITIONS]
    alarms.clear()
    alarms.update({(one.subject, one.condition): _alarm(one) for one in kept})
    engine.alarm_manager.doubted = list(standing.doubted)
    holds = engine.watched.state.standing
    holds.clear()
    holds.update(key for key, one in alarms.items() if one.active)
    engine.watched.state.habits.lay_over(standing.habits)
    _lay_people(engine, standing.people)
    _lay_parts(engine, standing)
    _lay_deadlines(engine, standing)
    _lay_entries(engine, standing)
    _lay_words(engine, standing)
    _believe(engine, seen)
    return [f"{one.subject}/{one.condition}" for one in standing.alarms if one not in kept]


def _finding(alarm: Alarm, holds: bool, now: float) -> Finding:
    return Finding(
        alarm.subject, alarm.condition, holds, now, alarm.value, alarm.planned, alarm.since,
        alarm.evidence, alarm.worse,
    )  # fmt: skip


def _alarm(state: AlarmState) -> Alarm:
    alarm = Alarm(state.subject, state.condition)
    for name in state.__struct_fields__:
        setattr(alarm, name, getattr(state, name))
    return alarm


def _lay_people(engine: Engine, people: People) -> None:
    notifier, alarms = engine.notifier, engine.alarm_manager.alarms
    notifier.incidents.standing.clear()
    for state in people.incidents:
        members = {name for name in state.members if (state.key[0], name) in alarms}
        if members:
            notifier.incidents.standing[state.key] = _incident(state, members)
    notifier.deferred_alarms.waiting = [key for key in people.waiting if key in alarms]
    gathering = notifier.gathering
    gathering.rung = {person: deque(rings, MANY_RINGS) for person, rings in people.rung.items()}
    gathering.waiting = {
        person: [key for key in keys if key in alarms] for person, keys in people.gathering.items()
    }
    notifier.writer.sent = {row: sent for row, sent in people.sent.items() if _known(sent)}
    notifier.writer.serial = people.serial


def _known(sent: Sent) -> bool:
    return all(alarm.rpartition("/")[2] in CONDITIONS for alarm in sent.alarms)


def _incident(state: IncidentState, members: set[str]) -> Incident:
    incident = msgspec.convert(state, Incident, from_attributes=True)
    incident.members = members
    if incident.lead not in members:
        incident.look()
    return incident


def _lay_entries(engine: Engine, standing: Standing) -> None:
    handler = engine.entry_handler
    handler.known.unpack(standing.known)
    handler.pending.held.clear()
    for logged in standing.pending:
        handler.hold(logged, engine.now)


def _lay_parts(engine: Engine, standing: Standing) -> None:
    monitor = engine.self_monitoring
    monitor.impaired, monitor.well_since = dict(standing.impaired), dict(standing.well_since)
    monitor.failed_since = dict(standing.failed_since)
    monitor.away_since, engine.watched.state.blind = standing.away_since, standing.blind


def _lay_deadlines(engine: Engine, standing: Standing) -> None:
    deadlines = engine.deadlines
    own = [item for item in sorted(deadlines.items) if isinstance(item.deadline, OF_THE_DAY)]
    deadlines.items.clear()
    for at, deadline in (*standing.deadlines, *((item.at, item.deadline) for item in own)):
        if getattr(deadline, "condition", None) in (None, *CONDITIONS):
            deadlines.add(at, deadline)
    climbs = (item.deadline for item in deadlines.items)
    planned = {climb.incident for climb in climbs if isinstance(climb, ClimbLadder)}
    engine.notifier.climbing.take_up(planned, engine.now)


def _lay_words(engine: Engine, standing: Standing) -> None:
    words = engine.daily_words
    words.night = [event for one in standing.night if (event := one.step or one.message)]
    words.night_since = standing.night_since
    words.morning_plan.said, words.evening_plan.said = standing.morning_said, standing.evening_said
    words.plan(engine.now)


def _believe(engine: Engine, seen: dict[Key, Finding]) -> None:
    """What the engine sees otherwise than it stood is told to it, as its detectors would."""
    manager, house, now = engine.alarm_manager, engine.view.house, engine.now
    subjects = {WATCH, *house.place, *house.cooler, *house.probe}
    for subject in sorted({subject for subject, _ in manager.alarms} - subjects):
        manager.remove(subject, now, None)
    stands = {key: one for key, one in manager.alarms.items() if one.active}
    for key, alarm in stands.items():
        if key not in seen and key[1] not in PARTS.values():
            engine.watched.conclusions.take(_finding(alarm, False, now)._replace(value=None))
    for key, finding in seen.items():
        if key not in stands and key[1] not in PARTS.values():
            engine.watched.conclusions.take(finding)
