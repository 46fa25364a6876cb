"""The story as it comes about: steps of alarms, and messages in the language of who reads them."""

from __future__ import annotations

from collections.abc import Callable
from datetime import tzinfo
from typing import Literal, NamedTuple

from kuraban.core.alarms.alarm_context import situation_of
from kuraban.core.alarms.life_cycle import Alarm, Alarms
from kuraban.core.effects import Ask, Message, Step, StepName, Urgency
from kuraban.core.house_view import HouseView
from kuraban.core.notify.ladder import Call
from kuraban.core.notify.priority import urgency_of
from kuraban.core.texts import messages
from kuraban.core.texts.alarm_facts import Situation

PAGES_KNOWN = 200

TextOf = Callable[[str, messages.Words, tzinfo], messages.Text]
"""A message in a language, from a catalogue, in a time zone."""
AsksOf = Callable[[str, messages.Words, tzinfo], tuple[Ask, ...]]


class Sent(NamedTuple):
    """What is remembered of a page until it is known what became of it."""

    at: float
    alarms: tuple[str, ...]


class MessageWriter:
    """The only one who writes the story. `alarms` are the house's, by subject and condition."""

    def __init__(self, view: HouseView, alarms: Alarms, words: messages.Words) -> None:
        self._view, self._alarms, self._words = view, alarms, words
        self.story: list[Step | Message] = []
        """Steps and messages in their order, until they are drained."""
        self.withdrawn: list[tuple[int, str]] = []
        """Alarms that somebody took in hand, as a turn tells them, until they are drained."""
        self.serial = 0
        """The number of the last message."""
        self.sent: dict[str, Sent] = {}
        """The latest pages, by the message's id."""

    def withdraw(self, *alarms: str) -> None:
        """Pages of them until now that still wait are not to be sent."""
        self.withdrawn += [(len(self.story), alarm) for alarm in alarms]

    def situation(self, alarm: Alarm, at: float) -> Situation:
        return situation_of(self._view, self._alarms, alarm, at)

    def step(self, alarm: Alarm, step: StepName, at: float, by: str | None) -> None:
        house = self._view.house
        text = messages.line(
            self.situation(alarm, at), step, house.site.language, self._words, house.zone
        )
        self.story.append(
            Step(
                at=at, subject=alarm.subject, condition=alarm.condition, step=step,
                urgency=urgency_of(self._view, alarm, at), value=alarm.value,
                planned=alarm.planned, text=text, by=by,
            )
        )  # fmt: skip

    def page(
        self, at: float, call: Call, urgency: Urgency, text_of: TextOf, alarms: tuple[str, ...]
    ) -> None:
        """A ring about `alarms`; `unreached` names it by its id."""
        row = self._say("page", at, call, urgency, text_of, alarms)
        self.sent[row] = Sent(at, alarms)
        while len(self.sent) > PAGES_KNOWN:
            del self.sent[next(iter(self.sent))]

    def notice(
        self, at: float, call: Call, urgency: Urgency, text_of: TextOf,
        alarms: tuple[str, ...] = (), asks_of: AsksOf | None = None,
    ) -> None:  # fmt: skip
        """A message that rings nobody; `asks_of` gives rings to be judged in the answer."""
        self._say("notice", at, call, urgency, text_of, alarms, asks_of)

    def _say(
        self, step: Literal["page", "notice"], at: float, call: Call, urgency: Urgency,
        text_of: TextOf, alarms: tuple[str, ...], asks_of: AsksOf | None = None,
    ) -> str:  # fmt: skip
        self.serial += 1
        row = f"{int(self._view.started):x}-{self.serial}"
        language, zone = self._language(call.person), self._view.house.zone
        text = text_of(language, self._words, zone)
        self.story.append(
            Message(
                id=row, at=at, step=step, role=call.role, person=call.person, urgency=urgency,
                title=text.title, body=text.body, alarms=alarms, rung=call.rung,
                language=language,
                asks=() if asks_of is None else asks_of(language, self._words, zone),
            )
        )  # fmt: skip
        return row

    def _language(self, person: str) -> str:
        house = self._view.house
        known = house.person.get(person)
        return known.language if known is not None else house.site.language
