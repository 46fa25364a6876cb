"""What a played night came to: spells of alarm and their rings, and how two nights compare.

A spell is the time through which one incident lasts: one side of one place's product, or one
condition of anything else, from its first step until nothing of it holds. It was told with its
first page. Two spells of one incident in two nights are the same drift where their times meet.

A drift is real where the crew said so (`right` or `late`), or where it went past its limit as the
house is; a ring is needless where the crew said so.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Literal, NamedTuple

from kuraban.core.alarm_conditions import CONDITIONS
from kuraban.core.effects import Message, Step

Was = Literal["right", "needless", "late"]
HOLDS = frozenset({"raised", "realarmed"})
OVER = frozenset({"normal", "returned", "out-of-service"})
SAME_MINUTE = 60.0
"""Two rings closer than this are told as at the same time."""


class Verdict(NamedTuple):
    """What somebody said of a ring afterwards."""

    at: float
    subject: str
    alarm: str
    was: Was


@dataclass(slots=True)
class Spell:
    """One incident while it lasted, Unix seconds; `end` is infinite where it lasts on."""

    subject: str
    group: str
    """The side of a product, else the condition."""
    start: float
    end: float = math.inf
    conditions: list[str] = field(default_factory=list)
    """In the order in which they were raised."""
    holding: set[str] = field(default_factory=set)
    rings: list[Message] = field(default_factory=list)

    @property
    def told(self) -> float | None:
        """When the first page went out."""
        return self.rings[0].at if self.rings else None

    @property
    def condition(self) -> str:
        """What it was first told as."""
        if self.rings:
            names = [name.partition("/")[2] for name in self.rings[0].alarms]
            return next(name for name in names if name in self.conditions)
        return self.conditions[0]

    @property
    def far(self) -> bool:
        return any(name.startswith("far-") for name in self.conditions)

    def meets(self, other: Spell) -> bool:
        return self.start <= other.end and other.start <= self.end


def group_of(condition: str) -> str:
    """Conditions of one side of a product are one incident."""
    known = CONDITIONS.get(condition)
    return known.side or condition if known is not None else condition


def spells_of(story: Iterable[Step | Message]) -> list[Spell]:
    """Every spell of a story, in the order of their beginnings."""
    found: list[Spell] = []
    latest: dict[tuple[str, str], Spell] = {}
    for event in story:
        if isinstance(event, Step):
            key = (event.subject, group_of(event.condition))
            if event.step in HOLDS:
                _holding(key, event.condition, event.at, latest, found)
            elif event.step in OVER and key in latest:
                _over(latest[key], event.condition, event.at)
        elif event.step == "page":
            for name in event.alarms:
                subject, _, condition = name.partition("/")
                key = (subject, group_of(condition))
                _holding(key, condition, event.at, latest, found).rings.append(event)
    return found


def _holding(
    key: tuple[str, str],
    condition: str,
    at: float,
    latest: dict[tuple[str, str], Spell],
    found: list[Spell],
) -> Spell:
    spell = latest.get(key)
    if spell is None or not spell.holding:
        spell = latest[key] = Spell(*key, at)
        found.append(spell)
    spell.holding.add(condition)
    if condition not in spell.conditions:
        spell.conditions.append(condition)
    return spell


def _over(spell: Spell, condition: str, at: float) -> None:
    if condition in spell.holding:
        spell.holding.discard(condition)
        if not spell.holding:
            spell.end = at


@dataclass(frozen=True, slots=True)
class Pair:
    """One drift as it was told in either night; None where that night did not know it."""

    was: Spell | None
    other: Spell | None
    verdict: Was | None = None

    @property
    def real(self) -> bool:
        return self.verdict in ("right", "late") or (
            self.verdict is None and self.was is not None and self.was.far
        )

    @property
    def spell(self) -> Spell:
        found = self.was or self.other
        assert found is not None
        return found

    @property
    def told(self) -> tuple[float | None, float | None]:
        return (self.was.told if self.was else None, self.other.told if self.other else None)

    @property
    def rings(self) -> tuple[int, int]:
        return (len(self.was.rings) if self.was else 0, len(self.other.rings) if self.other else 0)

    @property
    def later(self) -> float | None:
        """Seconds by which the other night told it later; None unless both told it."""
        first, second = self.told
        return None if first is None or second is None else second - first

    @property
    def differs(self) -> bool:
        later = self.later
        if later is None:
            return self.rings != (0, 0)
        return abs(later) >= SAME_MINUTE or self.rings[0] != self.rings[1]


def paired(
    was: Sequence[Spell], other: Sequence[Spell], verdicts: Iterable[Verdict]
) -> tuple[list[Pair], int]:
    """Both nights' spells side by side by time, and how many verdicts found no ring.

    Of several spells that meet one spell of the other night, the first that rang stands for them;
    further ones stand alone.
    """
    said, lost = _judged(was, verdicts)
    left = list(other)
    pairs: list[Pair] = []
    for number, spell in enumerate(was):
        meeting = [
            one
            for one in left
            if (one.subject, one.group) == (spell.subject, spell.group) and spell.meets(one)
        ]
        chosen = next((one for one in meeting if one.rings), meeting[0] if meeting else None)
        left = [one for one in left if one is not chosen]
        pairs.append(Pair(spell, chosen, said.get(number)))
    pairs += [Pair(None, spell) for spell in left]
    return sorted(pairs, key=_when), lost


def _when(pair: Pair) -> tuple[float, str]:
    told = [at for at in pair.told if at is not None]
    return (min(told) if told else pair.spell.start), pair.spell.subject


def _judged(was: Sequence[Spell], verdicts: Iterable[Verdict]) -> tuple[dict[int, Was], int]:
    """The last verdict on each spell: that of the latest ring before it."""
    said: dict[int, Was] = {}
    lost = 0
    for verdict in sorted(verdicts, key=lambda verdict: verdict.at):
        group = group_of(verdict.alarm.rpartition("/")[2])
        subject = verdict.alarm.rpartition("/")[0] or verdict.subject
        rung = [
            number
            for number, spell in enumerate(was)
            if (spell.subject, spell.group) == (subject, group)
            and spell.told is not None
            and spell.told <= verdict.at
        ]
        if rung:
            said[rung[-1]] = verdict.was
        else:
            lost += 1
    return said, lost
