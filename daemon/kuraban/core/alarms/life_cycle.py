"""The life of an alarm, after ANSI/ISA-18.2 and IEC 62682. Only this table assigns a state.

An alarm is one condition of one subject. It occurs, is acknowledged, returns. Unanswered, it can
return before anyone acknowledged; then nobody further is woken, but it stays on the list until
someone has seen it. Shelved by a person it is silent for a stated time, or, shelved once, until it
has returned to normal if that is sooner; suppressed by design it is held back while something
larger explains it; out of service it is not judged. From those three it comes back to what its
condition says at that moment. Nothing here latches: brewing conditions that have passed have
passed.

An event that changes nothing (a second acknowledgement) is in the table too; one that is not in
the table is a fault of the watch and raises.
"""

from __future__ import annotations

from collections.abc import Mapping
from enum import Enum
from typing import NamedTuple

from kuraban.core.effects import StepName
from kuraban.errors import ImpossibleTransition


class State(Enum):
    """States A to D and G to I of the standard's diagram, by its short names."""

    NORMAL = "NORM"
    UNACKNOWLEDGED = "UNACK"
    ACKNOWLEDGED = "ACKED"
    RETURNED = "RTNUN"
    SHELVED = "SHLVD"
    SUPPRESSED = "DSUPR"
    OUT_OF_SERVICE = "OOSRV"


class Event(Enum):
    OCCUR = "alarm occurs"
    RETURN = "return to normal"
    ACKNOWLEDGE = "acknowledge"
    REALARM = "re-alarm"
    SHELVE = "shelve"
    UNSHELVE = "un-shelve"
    SPENT = "return, one-shot shelf"
    SUPPRESS = "designed suppression"
    RELEASE = "suppression ends"
    REMOVE = "remove from service"
    RESTORE = "return to service"


class Outcome(NamedTuple):
    """The next state where the condition holds and where it does not, and the step to tell."""

    active: State
    clear: State
    step: StepName | None


def _to(state: State, step: StepName | None) -> Outcome:
    return Outcome(state, state, step)


_N, _U, _A, _R = State.NORMAL, State.UNACKNOWLEDGED, State.ACKNOWLEDGED, State.RETURNED
_S, _D, _O = State.SHELVED, State.SUPPRESSED, State.OUT_OF_SERVICE
_E = Event
_LIVE = (_N, _U, _A, _R)
_HELD = (_S, _D, _O)

LIFE: dict[tuple[State, Event], Outcome] = {
    (_N, _E.OCCUR): _to(_U, "raised"),
    (_U, _E.ACKNOWLEDGE): _to(_A, "acknowledged"),
    (_U, _E.RETURN): _to(_R, "returned"),
    (_A, _E.RETURN): _to(_N, "normal"),
    (_A, _E.REALARM): _to(_U, "realarmed"),
    (_R, _E.ACKNOWLEDGE): _to(_N, "normal"),
    (_R, _E.OCCUR): _to(_U, "realarmed"),
    (_S, _E.UNSHELVE): Outcome(_U, _N, "unshelved"),
    (_S, _E.SPENT): _to(_N, "normal"),
    (_D, _E.RELEASE): Outcome(_U, _N, "released"),
    (_O, _E.RESTORE): Outcome(_U, _N, "in-service"),
    # Held back: the condition lives on beneath, the state stays.
    **{(state, event): _to(state, None) for state in _HELD for event in (_E.OCCUR, _E.RETURN)},
    # Repetitions change nothing.
    **{(state, _E.ACKNOWLEDGE): _to(state, None) for state in (_N, _A, *_HELD)},
    (_N, _E.RETURN): _to(_N, None),
    (_R, _E.RETURN): _to(_R, None),
    (_U, _E.OCCUR): _to(_U, None),
    (_A, _E.OCCUR): _to(_A, None),
    (_U, _E.REALARM): _to(_U, "realarmed"),
    (_S, _E.SHELVE): _to(_S, "shelved"),
    (_D, _E.SUPPRESS): _to(_D, None),
    (_O, _E.REMOVE): _to(_O, None),
    **{
        (state, event): _to(state, None)
        for state in (*_LIVE, _D, _O)
        for event in (_E.UNSHELVE, _E.SPENT)
    },
    **{(state, _E.RELEASE): _to(state, None) for state in (*_LIVE, _S, _O)},
    **{(state, _E.RESTORE): _to(state, None) for state in (*_LIVE, _S, _D)},
    # The three ways of being held back, from anywhere.
    **{(state, _E.SHELVE): _to(_S, "shelved") for state in (*_LIVE, _D)},
    **{(state, _E.SUPPRESS): _to(_D, "suppressed") for state in _LIVE},
    (_S, _E.SUPPRESS): _to(_S, None),
    (_O, _E.SUPPRESS): _to(_O, None),
    (_O, _E.SHELVE): _to(_O, None),
    **{(state, _E.REMOVE): _to(_O, "out-of-service") for state in (*_LIVE, _S, _D)},
}


def next_state(state: State, event: Event, active: bool) -> tuple[State, StepName | None]:
    """The state after an event, and the step to tell; ImpossibleTransition if the table has none.

    `active` is whether the condition holds after the event.
    """
    outcome = LIFE.get((state, event))
    if outcome is None:
        raise ImpossibleTransition(f"an alarm in {state.value} cannot take '{event.value}'")
    return (outcome.active if active else outcome.clear), outcome.step


def drawing() -> str:
    """The table as a list of arrows, printed into the documentation."""
    lines = []
    for (state, event), outcome in LIFE.items():
        if outcome.step is None:
            continue
        goals = dict.fromkeys((outcome.active.value, outcome.clear.value))
        target = " or ".join(goals)
        lines.append(f"{state.value:<6} --{event.value:-<24}> {target:<14} {outcome.step}")
    return "\n".join(lines)


class Alarm:
    """One condition of one subject, as it stands."""

    __slots__ = (
        "acked_worse", "active", "by", "condition", "evidence", "in_hand_until", "once",
        "over", "planned", "raised", "reason", "since", "state", "subject", "until", "value",
        "worse",
    )  # fmt: skip

    def __init__(self, subject: str, condition: str) -> None:
        self.subject = subject
        self.condition = condition
        self.state = State.NORMAL
        self.active = False
        self.since: float | None = None
        """When the condition began to hold."""
        self.over: float | None = None
        """When it last ceased to hold."""
        self.raised: float | None = None
        """When it was last raised."""
        self.value: float | None = None
        self.planned: float | None = None
        self.by: str | None = None
        """Who has it."""
        self.evidence: tuple[str, ...] = ()
        self.worse: float | None = None
        """How far beyond what is right, in its unit."""
        self.acked_worse: float | None = None
        """The same when it was acknowledged."""
        self.in_hand_until: float | None = None
        self.until: float | None = None
        """When a shelf ends at the latest."""
        self.once = False
        """The shelf ends sooner where it returns to normal."""
        self.reason: str | None = None
        """Why it was shelved, as somebody put it."""

    @property
    def id(self) -> str:
        return f"{self.subject}/{self.condition}"

    @property
    def stands(self) -> bool:
        """On the list: anything but normal."""
        return self.state is not State.NORMAL

    def apply(self, event: Event) -> StepName | None:
        """Take an event; `active` must already say whether the condition holds."""
        self.state, step = next_state(self.state, event, self.active)
        return step


Alarms = Mapping[tuple[str, str], Alarm]
"""The alarms of a house by subject and condition, as whoever only reads them sees them."""


if __name__ == "__main__":
    print(drawing())
