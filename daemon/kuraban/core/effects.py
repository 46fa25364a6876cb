"""What a turn of the watch comes to: facts to keep, alarm steps to tell, messages to send."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import tzinfo
from typing import Literal

import msgspec

from kuraban.core.facts import Record
from kuraban.core.units import show_time

Ask = tuple[str, str]
"""A ring to be judged, was it worth it?: the alarm, and what people call the ring."""
Urgency = Literal["wake", "duty", "log"]
StepName = Literal[
    "raised", "acknowledged", "returned", "normal", "shelved", "unshelved", "suppressed",
    "released", "out-of-service", "in-service", "realarmed",
]  # fmt: skip


class Step(msgspec.Struct, frozen=True, kw_only=True):
    """One step in the life of one alarm."""

    at: float
    subject: str
    condition: str
    step: StepName
    urgency: Urgency
    value: float | None = None
    planned: float | None = None
    text: str = ""
    by: str | None = None
    """Who did it, where somebody did."""

    @property
    def alarm(self) -> str:
        return f"{self.subject}/{self.condition}"


class Message(msgspec.Struct, frozen=True, kw_only=True):
    """One message to one person: a `page` of an alarm, or a `notice` of anything else."""

    id: str
    at: float
    step: Literal["page", "notice"]
    role: str
    person: str
    urgency: Urgency
    title: str
    body: str
    alarms: tuple[str, ...] = ()
    rung: int = 0
    """Which rung of the ladder sent it, 0 first."""
    language: str = "en"
    asks: tuple[Ask, ...] = ()

    @property
    def text(self) -> str:
        return f"{self.title}\n{self.body}" if self.body else self.title


class Turn(msgspec.Struct, kw_only=True):
    """Everything that one turn adds to the journal, in one transaction."""

    now: float
    """The time up to which every deadline was looked at."""
    facts: list[Record] = []
    """In the order in which they were taken, what became of an entry behind it; their `received`
    never falls."""
    story: list[Step | Message] = []
    """Alarm steps and messages in the order in which they came about."""
    withdrawn: list[tuple[int, str]] = []
    """Alarms that somebody took in hand, each with how much of the story was told before: pages of
    them until then that still wait are not to be sent."""
    conflicts: int = 0
    """Readings that said another value for a moment already known."""

    @property
    def empty(self) -> bool:
        return not (self.facts or self.story or self.withdrawn)

    def told(self) -> Iterator[Step | Message | str]:
        """The story, with each alarm that somebody took in hand, by its name, where that was."""
        begin = 0
        for before, alarm in self.withdrawn:
            yield from self.story[begin:before]
            yield alarm
            begin = before
        yield from self.story[begin:]


def timeline_line(event: Step | Message, zone: tzinfo) -> dict[str, object]:
    """The members of one line of the timeline, absent ones left out, in their fixed order."""
    line: dict[str, object] = {"at": show_time(event.at, zone)}
    if isinstance(event, Step):
        line |= {
            "alarm": event.alarm,
            "subject": event.subject,
            "condition": event.condition,
            "step": event.step,
            "urgency": event.urgency,
        }
        if event.value is not None:
            line["value"] = round(event.value, 3)
        if event.planned is not None:
            line["planned"] = round(event.planned, 3)
        if event.by is not None:
            line["by"] = event.by
    else:
        line |= {
            "step": event.step,
            "role": event.role,
            "person": event.person,
            "urgency": event.urgency,
        }
        if len(event.alarms) == 1:
            line["alarm"] = event.alarms[0]
        elif event.alarms:
            line["alarms"] = list(event.alarms)
    line["text"] = event.text
    return line
