"""Why something rings, or does not: what each detector saw at one moment, in figures without words.

Nothing is reckoned for it: a detector tells what it judges by. Times are Unix seconds, lengths of
time seconds. The sentence of each key stands in the catalogue under `because.`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, NamedTuple

from kuraban.core.texts.alarm_facts import Title

Key = Literal[
    # What is known of the subject.
    "unjudged", "product", "by-hand", "no-product", "doubted", "plan", "tolerance", "limit",
    "never", "band", "mask", "settling", "let-run", "cooler", "cooler-fails", "draws", "keeps",
    "called", "uncalled", "runs", "rests", "runs-unknown", "serves", "hangs-on", "heard",
    "told-then", "not-told-then", "probes-answer", "watch-back",
    # What a detector saw.
    "is-above", "is-below", "drift", "leaves", "valve-open", "next-stage", "evidence",
    "rest-usual", "differs", "before", "room-air", "rung", "told-softly", "unrung",
    "part-fails", "fell-together", "clock-stepped", "boards-ahead",
    # What is lacking, and what holds it back.
    "must-rise", "must-fall", "runs-out", "held", "stale", "no-value", "not-known", "next-value",
    "next-look", "too-slow", "within-swing", "swing-unknown", "not-ahead", "unlikely", "homeward",
    "evens-out", "outside-already", "once-more", "not-deep", "not-falling", "not-fallen",
    "lands-elsewhere", "is-logged", "is-air", "no-filling", "due", "no-stage", "no-air-band",
    "later-lot", "measured",
    "dusk", "not-called", "it-runs", "not-late", "rested", "not-running", "in-habit", "no-habit",
    "ran-too-short", "comes-nearer", "load", "together", "few-starts", "answers", "moves-few",
    "still-for", "jumps", "agree", "unstirred", "no-step", "taken-out", "put-back", "in-doubt",
    "part-works", "few-silent", "boards-agree",
    # By what it will be over.
    "over-below", "over-above", "over-since", "over-turns", "over-logged", "over-near",
    "over-shut", "over-measured", "over-answers", "over-moves", "over-jumps", "over-agree",
    "over-starts", "over-runs", "over-uncalled", "over-nearer", "over-well", "over-most-answer",
    "over-clock",
]  # fmt: skip
"""One thing that speaks for or against."""
Unit = Literal["°C", "K", "K/h", "W", "%RH", "l", ""]
How = Literal["seen", "record"]
"""How it was found since when something is outside: by the reading that said so first, or by
looking back in the record."""


class Because(NamedTuple):
    """`edge` is what `value` is held against, `wanted` what the time in `lasted` must come to."""

    key: Key
    value: float | None = None
    edge: float | None = None
    unit: Unit = "°C"
    since: float | None = None
    until: float | None = None
    lasted: float | None = None
    wanted: float | None = None
    name: str | None = None
    """What it is about, as people call it."""
    word: str | None = None
    """The key of a word or of a piece of evidence in the catalogue."""
    title: Title | None = None
    """A text by language."""


def evidence(seen: tuple[str, ...]) -> tuple[Because, ...]:
    """The evidence of a finding, each `key` or `key=figure`, with the sentences that it has."""
    found = []
    for one in seen:
        key, _, figure = one.partition("=")
        found.append(Because("evidence", float(figure) if figure else None, word=key))
    return tuple(found)


class Delay(NamedTuple):
    """The time outside as it is spent against a delay; `due` is when it will be, if it goes on."""

    since: float | None
    how: How
    spent: float
    wanted: float
    due: float | None

    @property
    def left(self) -> float:
        return max(self.wanted - self.spent, 0.0)


class Account(NamedTuple):
    """One condition as the detector sees it that judges it."""

    condition: str
    stands: bool
    seen: tuple[Because, ...] = ()
    lacks: tuple[Because, ...] = ()
    """While it does not stand: what it would take, and what holds it back; never empty then."""
    ends: tuple[Because, ...] = ()
    """While it stands: by what it will be over."""
    delay: Delay | None = None


Hand = Literal[
    "rings", "listed", "in-hand", "returned", "shelved", "suppressed", "out-of-service", "waits",
    "quiet",
]  # fmt: skip
"""What becomes of a condition: the alarm's state where there is one, `listed` for one that rings
nobody since it is not sure; else whether time outside is being spent, or nothing of it shows."""


class Judged(NamedTuple):
    """A condition, and what people know of its alarm."""

    account: Account
    hand: Hand
    raised: float | None = None
    by: str | None = None
    until: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Explanation:
    """One subject at one moment."""

    subject: str
    name: str
    at: float
    known: tuple[Because, ...]
    judged: tuple[Judged, ...]
    """What stands first, then what is on its way there, then the rest."""
