"""An explanation in the words of one language, with the figures and times behind each sentence."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from kuraban.core.texts.alarm_text import known, pick
from kuraban.core.texts.translator import Speech, figure
from kuraban.core.units import HOUR, MINUTE, show_time
from kuraban.core.views.explanation import Because, Delay, Explanation, Hand, How, Judged

_LONG = 90 * MINUTE
_SIGNED = frozenset({"not-deep", "within-swing", "in-doubt", "over-near"})
"""What lies on one side of a plan or of what was."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """One sentence and its figures; times are RFC 3339, lengths of time seconds."""

    key: str
    text: str
    value: float | None = None
    edge: float | None = None
    unit: str | None = None
    since: str | None = None
    until: str | None = None
    lasted: float | None = None
    wanted: float | None = None
    name: str | None = None
    word: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class SaidDelay:
    """How much of a delay is spent, s; `due` is when it will be, if it goes on so."""

    text: str
    since: str | None
    found: How
    spent: float
    wanted: float
    left: float
    due: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class SaidCondition:
    """One condition: what becomes of it, what was seen, what it would take, how it will end."""

    condition: str
    name: str
    holds: bool
    hand: Hand
    text: str
    raised: str | None
    by: str | None
    delay: SaidDelay | None
    seen: list[Said]
    lacks: list[Said]
    ends: list[Said]


@dataclass(frozen=True, slots=True, kw_only=True)
class SaidWhy:
    """One subject at one moment."""

    subject: str
    name: str
    at: str
    known: list[Said]
    conditions: list[SaidCondition]


class Teller:
    """Tells explanations in one language, by one clock."""

    def __init__(self, speech: Speech) -> None:
        self._speech = speech

    def told(self, found: Explanation) -> SaidWhy:
        return SaidWhy(
            subject=found.subject,
            name=found.name,
            at=show_time(found.at, self._speech.zone),
            known=self._all(found.known),
            conditions=[self._condition(one) for one in found.judged],
        )

    def _condition(self, judged: Judged) -> SaidCondition:
        account, say = judged.account, self._speech.say
        fields = known(since=self._speech.clock(judged.raised), who=judged.by,
                         until=self._speech.clock(judged.until))  # fmt: skip
        return SaidCondition(
            condition=account.condition,
            name=self._speech.template(f"{account.condition}.name") or account.condition,
            holds=account.stands,
            hand=judged.hand,
            text=say(f"because-hand.{judged.hand}", fields),
            raised=self._time(judged.raised),
            by=judged.by,
            delay=None if account.delay is None else self._delay(account.delay, account.stands),
            seen=self._all(account.seen),
            lacks=[] if account.stands else self._all(account.lacks),
            ends=self._all(account.ends),
        )

    def _delay(self, delay: Delay, stands: bool) -> SaidDelay:
        way = "stands" if stands else "back" if delay.due is None else "outside"
        fields = known(
            since=self._speech.clock(delay.since), spent=self._length(delay.spent),
            wanted=self._length(delay.wanted), left=self._length(delay.left or None),
            how=self._speech.template(f"because-how.{delay.how}"),
        )  # fmt: skip
        return SaidDelay(
            text=self._speech.say(f"because-delay.{way}", fields),
            since=self._time(delay.since),
            found=delay.how,
            spent=round(delay.spent),
            wanted=round(delay.wanted),
            left=round(delay.left),
            due=self._time(delay.due),
        )

    def _all(self, every: Iterable[Because]) -> list[Said]:
        return [self._said(one) for one in every]

    def _said(self, one: Because) -> Said:
        return Said(
            key=one.key,
            text=self._sentence(one),
            value=_rounded(one.value),
            edge=_rounded(one.edge),
            unit=None if one.value is None and one.edge is None else one.unit,
            since=self._time(one.since),
            until=self._time(one.until),
            lasted=_rounded(one.lasted),
            wanted=_rounded(one.wanted),
            name=one.name,
            word=one.word,
        )

    def _sentence(self, one: Because) -> str:
        speech = self._speech
        value, edge = self._figures(one)
        if one.key == "evidence" and one.word is not None:
            bare = None if one.value is None else figure(one.value)
            return speech.say(f"evidence.{one.word}", known(**{one.word: bare}))
        if one.key == "called" and one.word is not None:
            return speech.say(f"evidence.{one.word}")
        fields = known(
            value=value, edge=edge, bare=None if one.value is None else figure(one.value),
            name=one.name, word=self._word(one.word),
            since=speech.clock(one.since), until=speech.clock(one.until),
            lasted=self._length(one.lasted), wanted=self._length(one.wanted),
            title=None if one.title is None else self._title(one),
        )  # fmt: skip
        return speech.say(f"because.{one.key}", fields)

    def _figures(self, one: Because) -> tuple[str | None, str | None]:
        """Both with as many decimals as it takes to tell one from the other."""
        decimals = 2 if one.unit == "K/h" else 0 if one.unit in ("W", "%RH", "") else 1
        if one.value is not None and one.edge is not None and one.value != one.edge:
            alike = figure(one.value, decimals) == figure(one.edge, decimals)
            decimals += alike and one.unit in ("°C", "K")
        return self._figure(one.value, decimals, one), self._figure(one.edge, decimals, one)

    def _figure(self, value: float | None, decimals: int, one: Because) -> str | None:
        if value is None:
            return None
        text = figure(value, decimals, signed=one.unit == "K/h" or one.key in _SIGNED)
        return self._speech.say(f"because-unit.{one.unit}", n=text) or text

    def _word(self, word: str | None) -> str | None:
        """What people call a condition, a work, a measure, a reason."""
        if word is None:
            return None
        keys = (f"because-word.{word}", f"{word}.name", f"work.{word}", f"why.{word}",
                f"measure.{word}", f"stage.{word}")  # fmt: skip
        return self._speech.template(*keys) or word

    def _title(self, one: Because) -> str | None:
        """The name of a stage in this language, its course's own where the house has no word."""
        usual = self._speech.template(f"stage.{one.word}") if one.word is not None else ""
        return usual or (None if one.title is None else pick(one.title, self._speech.language))

    def _length(self, seconds: float | None) -> str | None:
        if seconds is None:
            return None
        minutes = round(seconds / MINUTE)
        if minutes < 1:
            return self._speech.template("because-length.soon")
        if seconds < _LONG:
            return self._speech.say("because-length.minutes", n=str(minutes))
        hours, rest = divmod(minutes, int(HOUR // MINUTE))
        fields = known(n=str(hours), m=str(rest) if rest else None)
        return self._speech.say("because-length.hours", fields)

    def _time(self, at: float | None) -> str | None:
        return None if at is None else show_time(at, self._speech.zone)


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 3)
