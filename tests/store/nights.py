"""Facts, steps and messages of an invented night, short to write down in a test."""

from __future__ import annotations

from kuraban.core.effects import Message, Step, StepName, Turn
from kuraban.core.entries import Entry, Note
from kuraban.core.facts import Logged, Reading, Record

EVENING = 1_769_900_000.0


def reading(minute: float, value: float = 10.5, probe: str = "t3-mid") -> Reading:
    at = EVENING + 60 * minute
    return Reading(probe, at, value, at)


def logged(id_: str, entry: Entry | None = None, minute: float = 0, on: str = "tank-3") -> Logged:
    at = EVENING + 60 * minute
    return Logged(id_, on, entry or Note(text="all quiet"), at, at, by="aki")


def step(name: StepName, minute: float = 0, condition: str = "warm", on: str = "tank-3") -> Step:
    return Step(
        at=EVENING + 60 * minute,
        subject=on,
        condition=condition,
        step=name,
        urgency="wake",
        value=11.2,
        planned=10.0,
        text="Tank 3 is warm",
    )


def page(id_: str, *alarms: str, person: str = "aki", minute: float = 0) -> Message:
    return Message(
        id=id_,
        at=EVENING + 60 * minute,
        step="page",
        role="brewer",
        person=person,
        urgency="wake",
        title="Tank 3 is warm",
        body="11.2 °C, planned 10.0 °C",
        alarms=alarms or ("tank-3/warm",),
    )


def notice(id_: str, person: str = "aki", minute: float = 0) -> Message:
    return Message(
        id=id_,
        at=EVENING + 60 * minute,
        step="notice",
        role="brewer",
        person=person,
        urgency="duty",
        title="The evening word",
        body="",
        language="ja",
    )


def turn(minute: float, *what: Record | Step | Message | str) -> Turn:
    """A text is the name of an alarm that somebody took in hand after what stands before it."""
    made = Turn(now=EVENING + 60 * minute)
    for one in what:
        if isinstance(one, str):
            made.withdrawn.append((len(made.story), one))
        elif isinstance(one, (Step, Message)):
            made.story.append(one)
        else:
            made.facts.append(one)
    return made
