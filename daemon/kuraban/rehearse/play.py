"""Recorded messages through a core, and what two of them told side by side: the house as it is, and
as it might be.

Nobody answers differently in the other night: what people logged is played as they logged it,
their acknowledgements too. Courses are changed before a batch begins, since a batch keeps the
course that it began on.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from statistics import median
from typing import NamedTuple, TypeGuard

import msgspec

from kuraban.core import entries as e
from kuraban.core.effects import Message, Step
from kuraban.core.facts import Logged, Record
from kuraban.core.site import House, from_document, to_document
from kuraban.core.texts.messages import Words
from kuraban.core.timescale import Pieces
from kuraban.core.units import within_hours
from kuraban.recording import HOUSE_TOPIC, BadLine, Recorded
from kuraban.rehearse.altered_settings import Change, changed
from kuraban.rehearse.spells import Pair, Verdict, paired, spells_of
from kuraban.replay import BUNDLE, Player


@dataclass(frozen=True, slots=True)
class Rings:
    """What one person was told by page; `by_night` outside the site's duty hours."""

    all: int = 0
    by_night: int = 0


@dataclass(frozen=True, slots=True)
class Rehearsal:
    """Both nights side by side. Pairs of figures are (as it is, otherwise)."""

    messages: int
    start: float
    """The first moment that counts, Unix seconds."""
    end: float
    people: dict[str, tuple[Rings, Rings]]
    conditions: dict[str, tuple[int, int]]
    """Spells told by page, by the condition that they were first told as."""
    needless: dict[str, tuple[int, int]]
    """Of those that the crew called needless: rung as it is, and still rung otherwise."""
    pairs: tuple[Pair, ...]
    verdicts: int
    verdicts_lost: int
    """Verdicts on rings that this version would not make, or that lie outside the time."""
    clock: Pieces = ()
    """By which the wall clock's time is told of those here."""

    @property
    def differing(self) -> tuple[Pair, ...]:
        return tuple(pair for pair in self.pairs if pair.differs)

    @property
    def real(self) -> tuple[Pair, ...]:
        """Real drifts that one night or the other told."""
        return tuple(pair for pair in self.pairs if pair.real and pair.told != (None, None))

    @property
    def untold(self) -> int:
        """Real drifts told as it is and not otherwise."""
        return sum(pair.told[0] is not None and pair.told[1] is None for pair in self.real)

    @property
    def later(self) -> tuple[float, float] | None:
        """Median and worst seconds by which real drifts were told later; None where none was."""
        waits = [pair.later for pair in self.real if pair.later is not None]
        return (median(waits), max(waits)) if waits else None


class Night(NamedTuple):
    """What one core told of the messages, and how many they were."""

    story: list[Step | Message]
    corrected: list[Logged]
    """Verdicts, and what may take one back or put it right."""
    messages: int
    begins: float
    now: float
    clock: Pieces
    bad: tuple[BadLine, ...] = ()
    """The first lines that were no messages."""


def play(
    house: House,
    root: str,
    words: Words,
    messages: Iterable[Recorded],
    changes: Sequence[Change] = (),
    *,
    until: float | None = None,
) -> Night:
    """Play messages through the house with the changes made; `until` stops the playing, or runs the
    clock on."""
    off = frozenset(change.key for change in changes if change.leaves_out)
    player = Player(changed(house, changes), root, words, off)
    story: list[Step | Message] = []
    corrected: list[Logged] = []
    topic, count, begins = f"{root}/{HOUSE_TOPIC}", 0, math.inf

    def told() -> None:
        turn = player.engine.drain()
        story.extend(turn.story)
        corrected.extend(fact for fact in turn.facts if _corrects(fact))

    for message in messages:
        if until is not None and message.at > until:
            break
        begins = min(begins, message.at)
        player.play(_retold(message, changes) if message.topic == topic else message)
        count += 1
        if count % BUNDLE == 0:
            told()
    if until is not None and player.begun:
        player.engine.wake(until)
    told()
    return Night(story, corrected, count, begins, player.engine.now, player.engine.clock)


def _corrects(fact: Record) -> TypeGuard[Logged]:
    verdicts = (e.Verdict, e.TakeBack, e.Amend)
    return isinstance(fact, Logged) and isinstance(fact.entry, verdicts)


def _retold(message: Recorded, changes: Sequence[Change]) -> Recorded:
    """A house that the recording tells, with the changes made in it too."""
    if not changes:
        return message
    try:
        house = from_document(message.payload.decode())
    except (msgspec.MsgspecError, UnicodeDecodeError):
        return message
    document = to_document(changed(house, changes))
    return msgspec.structs.replace(message, payload=document.encode())


def compared(house: House, was: Night, other: Night, since: float = -math.inf) -> Rehearsal:
    """The house as it is beside what it might be; what was told before `since` does not count."""
    start = max(since, was.begins) if was.messages else since
    house = msgspec.structs.replace(house, clock=was.clock)
    nights = was.story, other.story
    verdicts = _verdicts(was.corrected)
    first, second = (spells_of(story) for story in nights)
    pairs, lost = paired(first, second, verdicts)
    pairs = [pair for pair in pairs if _counts(pair, start)]
    mine, theirs = (_rings(house, story, start) for story in nights)
    people = {who: (mine.get(who, Rings()), theirs.get(who, Rings())) for who in {**mine, **theirs}}
    return Rehearsal(
        messages=was.messages,
        start=start,
        end=was.now,
        people=dict(sorted(people.items())),
        conditions=_by_condition(pairs),
        needless=_by_condition([pair for pair in pairs if pair.verdict == "needless"]),
        pairs=tuple(pairs),
        verdicts=len(verdicts),
        verdicts_lost=lost,
        clock=was.clock,
    )


def _counts(pair: Pair, start: float) -> bool:
    moments = [at for at in pair.told if at is not None] or [pair.spell.start]
    return min(moments) >= start


def _rings(house: House, story: list[Step | Message], start: float) -> dict[str, Rings]:
    found: dict[str, Rings] = {}
    for event in story:
        if isinstance(event, Message) and event.step == "page" and event.at >= start:
            known = found.get(event.person, Rings())
            night = not within_hours(event.at, *house.site.duty_hours, house.zone)
            found[event.person] = Rings(known.all + 1, known.by_night + night)
    return found


def _by_condition(pairs: list[Pair]) -> dict[str, tuple[int, int]]:
    was: Counter[str] = Counter()
    other: Counter[str] = Counter()
    for pair in pairs:
        if pair.was is not None and pair.was.rings:
            was[pair.was.condition] += 1
        if pair.other is not None and pair.other.rings:
            other[pair.other.condition] += 1
    return {name: (was[name], other[name]) for name in sorted({*was, *other})}


def _verdicts(told: list[Logged]) -> list[Verdict]:
    """The verdicts that stand: what was taken back is gone, what was amended says the new."""
    found: dict[str, Verdict] = {}
    for logged in told:
        match logged.entry:
            case e.Verdict(alarm=alarm, was=was):
                found[logged.id] = Verdict(logged.at, logged.subject, alarm, was)
            case e.TakeBack(of=old):
                found.pop(old, None)
            case e.Amend(of=old, fields=fields) if old in found:
                said = fields.get("was")
                if said in ("right", "needless", "late"):
                    found[old] = found[old]._replace(was=said)
            case _:
                pass
    return list(found.values())
