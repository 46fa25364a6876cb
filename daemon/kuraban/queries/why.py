"""Why something rang or did not, at any moment that the journal knows in full.

Whoever asks lives an engine of their own through the journal up to that moment
(`kuraban.runtime.past_moment`) and asks its detectors: nothing is reckoned a second time, and the
watch that runs notices nothing. What cannot be answered is Unanswerable, with what can be said.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import msgspec

from kuraban.core import entries as e
from kuraban.core.engine.engine import Engine
from kuraban.core.engine.explaining import explain
from kuraban.core.intake.payload import nearest
from kuraban.core.site import WATCH, House, from_document
from kuraban.core.texts.messages import Words
from kuraban.core.texts.translator import Speech
from kuraban.core.texts.why_text import SaidWhy, Teller
from kuraban.core.timescale import pieces_of
from kuraban.core.units import HOUR, MINUTE
from kuraban.core.views.explanation import Because, Explanation, Judged, Key
from kuraban.errors import JournalError, Unanswerable
from kuraban.queries.journal_state import open_history
from kuraban.runtime.past_moment import as_it_was
from kuraban.store.history import History

STILL = 5 * MINUTE
"""A moment so shortly after the last turn is taken for that turn."""
NEAREST = 3
HEARD = ("rings", "in-hand")
STANDING = frozenset({"raised", "acknowledged", "realarmed"})
SOUND: dict[str, Key] = {"page": "rung", "notice": "told-softly"}
LEAST = 3 * HOUR
"""So long before a moment the readings must be there in full."""


class Why:
    """Asks the journal at `path`; several threads may, each with an engine of its own."""

    def __init__(self, path: Path, words: Words) -> None:
        self._path, self._words = path, words

    def ask(
        self, subject: str, at: float | None, now: float, language: str,
        go_on: Callable[[], None] = lambda: None,
    ) -> tuple[SaidWhy, ...]:  # fmt: skip
        """Of a place, cooler or probe, of the watch itself, or of each place in which a batch ran;
        at the last turn if no moment is named. `go_on` is asked now and then and may raise to stop.

        Unanswerable, or JournalError where the journal cannot be read.
        """
        with closing(open_history(self._path)) as history:
            last, house = history.now(), _house(history)
            if last is None or house is None:
                raise JournalError(f"{self._path}: nothing is in it yet")
            question = _Question(history, house, self._words, language, last if at is None else at)
            moment = question.moment(last, now)
            known = {WATCH, *house.place, *house.cooler, *house.probe}
            if subject not in known and subject not in (batches := _batches(history)):
                near = nearest(subject, sorted(known | batches), NEAREST)
                raise question.refused("unknown", name=subject, near=near)
            question.whole(subject)
            engine = as_it_was(self._path, self._words, moment, go_on)
            subjects = (subject,) if subject in known else _places_of(engine, subject, moment)
            then = engine.view.house
            if not subjects:
                raise question.refused("not-running", name=subject)
            if not {*subjects} <= {WATCH, *then.place, *then.cooler, *then.probe}:
                raise question.refused("not-there", name=subject)
            speech = Speech(self._words, language, then.zone, moment)
            told = [_as_told(history, then, speech, explain(engine, one)) for one in subjects]
        return tuple(Teller(speech).told(one) for one in told)


class _Question:
    """One question, and whether it can be answered."""

    def __init__(
        self, history: History, house: House, words: Words, language: str, at: float
    ) -> None:
        self._history, self._house, self.at = history, house, at
        self._speech = Speech(words, language, house.zone, at)

    def refused(self, why: str, **fields: str) -> Unanswerable:
        at = self._speech.clock(self.at) or ""
        return Unanswerable(self._speech.say(f"because-refused.{why}", {"at": at, **fields}))

    def moment(self, last: float, now: float) -> float:
        """The moment meant: within what the watch has seen."""
        begun = self._history.begun()
        if begun is None or self.at < begun:
            raise self.refused("before", until=self._day(begun or last))
        if self.at > max(now, last) + 1.0:
            at = self._day(self.at)
            raise self.refused("ahead", at=at)
        if self.at > last + STILL:
            raise self.refused("after", until=self._day(last))
        return min(self.at, last)

    def _day(self, at: float) -> str:
        then = msgspec.structs.replace(self._speech, at=at)
        return f"{then.date(at)} {then.clock(at)}"

    def whole(self, subject: str) -> None:
        """Refused where only summaries are left of what it rests on."""
        probes = [one.id for one in self._house.probes if subject in _about(self._house, one.id)]
        if not self._history.shortened(probes, self.at - LEAST, self.at):
            return
        stood = [
            self._speech.say("brief.plain", place=self._house.name_of(step.subject),
                             condition=self._speech.template(f"{step.condition}.name"))
            for step in self._history.standing(self.at)
            if step.subject in (subject, *probes)
        ]  # fmt: skip
        names = self._speech.names(stood) or self._speech.template("because-refused.nothing-stood")
        raise self.refused("summaries", at=self._day(self.at), names=names)


def _house(history: History) -> House | None:
    document = history.house()
    if document is None:
        return None
    return msgspec.structs.replace(from_document(document), clock=pieces_of(history.clock_steps()))


def _batches(history: History) -> set[str]:
    """Every batch there was, by its name."""
    entries = (one.entry for one in history.entries(None, 0.0, float("inf")))
    return {entry.batch for entry in entries if isinstance(entry, e.BatchStart)}


def _about(house: House, probe: str) -> set[str]:
    """What a probe tells of: itself, what it hangs on, and what stands there or is cooled by it."""
    of = house.probe[probe].of
    near = {one.id for one in house.places if of in (one.room, one.cooler, one.heater)}
    cooler = house.place[of].cooler if of in house.place else None
    return {WATCH, probe, of, *near, *(() if cooler is None else (cooler,))}


def _as_told(history: History, house: House, speech: Speech, found: Explanation) -> Explanation:
    """The same beside what the journal says of its alarms: who has each, who heard of it and when,
    and where what was lived through again comes to something else than was told then."""
    steps = {s.condition: s for s in history.standing(found.at) if s.subject == found.subject}
    known, judged = list[Because](), []
    for one in found.judged:
        condition = one.account.condition
        step, stands = steps.get(condition), one.hand in HEARD
        if stands and step is None:
            known.append(Because("not-told-then", word=condition))
        elif step is not None and step.step in STANDING and one.hand in ("waits", "quiet"):
            known.append(Because("told-then", since=step.at, word=condition))
        elif step is not None and step.step == "acknowledged" and stands:
            by = one.by if step.by is None else house.called(step.by)
            one = one._replace(hand="in-hand", by=by)
        if stands and one.raised is not None:
            seen = (*one.account.seen, *_rings(history, house, speech, found, one))
            one = one._replace(account=one.account._replace(seen=seen))
        judged.append(one)
    return dataclasses.replace(found, known=(*known, *found.known), judged=tuple(judged))


def _rings(
    history: History, house: House, speech: Speech, found: Explanation, one: Judged
) -> list[Because]:
    """Whoever heard of an alarm since it was raised."""
    alarm, heard = f"{found.subject}/{one.account.condition}", dict[Key, list[str]]()
    for message in history.messages(one.raised or found.at, found.at + 1.0):
        if alarm in message.alarms:
            told = f"{house.called(message.person)} {speech.clock(message.at)}"
            heard.setdefault(SOUND[message.step], []).append(told)
    lines = [Because(key, name=", ".join(people)) for key, people in heard.items()]
    return lines or [Because("unrung")]


def _places_of(engine: Engine, batch: str, at: float) -> tuple[str, ...]:
    """The places in which a batch runs at that moment."""
    runs = {place: engine.view.batch(place, at) for place in engine.view.places}
    return tuple(place for place, known in runs.items() if known and known.name == batch)
