"""The life of an alarm, against a second telling of the standard that shares no table with it.

That one keeps plain truths of an alarm and names its state from them, where the watch walks arrows
from state to state.
"""

from __future__ import annotations

from itertools import product

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from kuraban.core.alarms.life_cycle import LIFE, Alarm, Event, State, drawing, next_state
from kuraban.errors import ImpossibleTransition
from tests.core.alarms.standard import Life

LIVE = {State.NORMAL, State.UNACKNOWLEDGED, State.ACKNOWLEDGED, State.RETURNED}
HELD = {State.SHELVED, State.SUPPRESSED, State.OUT_OF_SERVICE}


MOVES = {
    Event.OCCUR: Life.occur,
    Event.RETURN: Life.return_,
    Event.ACKNOWLEDGE: Life.acknowledge,
    Event.REALARM: Life.re_alarm,
    Event.SHELVE: Life.shelve,
    Event.SUPPRESS: Life.suppress,
    Event.REMOVE: Life.remove,
    Event.UNSHELVE: lambda life: life.let_go("SHLVD"),
    Event.SPENT: Life.return_once,
    Event.RELEASE: lambda life: life.let_go("DSUPR"),
    Event.RESTORE: lambda life: life.let_go("OOSRV"),
}
IMPOSSIBLE = {(state, Event.REALARM) for state in State} - {
    (State.UNACKNOWLEDGED, Event.REALARM),
    (State.ACKNOWLEDGED, Event.REALARM),
}
"""Only an alarm that stands and rings, or is in hand, can be rung again."""


@given(st.lists(st.sampled_from(list(Event)), max_size=40))
@example([Event.OCCUR, Event.SHELVE, Event.RETURN, Event.UNSHELVE, Event.OCCUR])
@example([Event.OCCUR, Event.RETURN, Event.OCCUR, Event.ACKNOWLEDGE, Event.RETURN])
def test_an_alarm_lives_as_the_standard_says(events: list[Event]) -> None:
    """Whatever happens in whatever order, the table and the four plain truths agree."""
    alarm, life = Alarm("tank-3", "warm"), Life()
    for event in events:
        if (alarm.state, event) in IMPOSSIBLE:
            with pytest.raises(ImpossibleTransition):
                alarm.apply(event)
            continue
        MOVES[event](life)
        alarm.active = life.active
        alarm.apply(event)
        assert alarm.state.value == life.code


def test_every_pair_of_state_and_event_has_its_place() -> None:
    """Either in the table, or named above as one that cannot be; no pair is forgotten."""
    assert set(product(State, Event)) - set(LIFE) == IMPOSSIBLE


@pytest.mark.parametrize(("state", "event"), sorted(IMPOSSIBLE, key=str), ids=lambda one: one.name)
def test_a_step_that_the_table_lacks_is_a_fault_of_the_watch(state: State, event: Event) -> None:
    with pytest.raises(ImpossibleTransition, match=f"{state.value} cannot take '{event.value}'"):
        next_state(state, event, active=True)


@pytest.mark.parametrize("active", [True, False])
@pytest.mark.parametrize("state", [State.NORMAL, State.ACKNOWLEDGED, *sorted(HELD, key=str)])
def test_an_acknowledgement_of_what_is_seen_or_normal_is_nothing(
    state: State, active: bool
) -> None:
    # ANSI/ISA-18.2-2016 clause 5 (from memory): acknowledging again does nothing
    assert next_state(state, Event.ACKNOWLEDGE, active) == (state, None)


@pytest.mark.parametrize(
    ("state", "back"),
    [
        (State.SHELVED, Event.UNSHELVE),
        (State.SUPPRESSED, Event.RELEASE),
        (State.OUT_OF_SERVICE, Event.RESTORE),
    ],
)
def test_what_was_held_back_comes_back_as_its_condition_stands(state: State, back: Event) -> None:
    assert next_state(state, back, active=True)[0] is State.UNACKNOWLEDGED
    assert next_state(state, back, active=False)[0] is State.NORMAL


@pytest.mark.parametrize("state", sorted(HELD, key=str))
def test_a_held_alarm_goes_on_being_judged_in_silence(state: State) -> None:
    for event in (Event.OCCUR, Event.RETURN, Event.ACKNOWLEDGE):
        assert next_state(state, event, active=event is Event.OCCUR) == (state, None)


def test_a_step_is_told_only_when_something_changed() -> None:
    """But for ringing again and shelving anew, which are told though the state stays."""
    quiet = {pair for pair, outcome in LIFE.items() if outcome.step is None}
    for state, event in quiet:
        assert LIFE[state, event].active is LIFE[state, event].clear is state
    stays = {
        (state, event)
        for (state, event), outcome in LIFE.items()
        if outcome.step is not None and outcome.active is outcome.clear is state
    }
    assert stays == {(State.UNACKNOWLEDGED, Event.REALARM), (State.SHELVED, Event.SHELVE)}


NAMES = {
    Event.OCCUR: {"NORM": "raised", "RTNUN": "realarmed"},
    Event.RETURN: {"UNACK": "returned", "ACKED": "normal"},
    Event.ACKNOWLEDGE: {"UNACK": "acknowledged", "RTNUN": "normal"},
    Event.REALARM: "realarmed",
    Event.SHELVE: "shelved",
    Event.UNSHELVE: "unshelved",
    Event.SPENT: "normal",
    Event.SUPPRESS: "suppressed",
    Event.RELEASE: "released",
    Event.REMOVE: "out-of-service",
    Event.RESTORE: "in-service",
}
"""What people call a step: by what happens, and for three events by where it began."""


def test_each_step_is_called_by_what_happened() -> None:
    for (state, event), outcome in LIFE.items():
        names = NAMES[event]
        called = names if isinstance(names, str) else names.get(state.value)
        assert outcome.step in (None, called), (state, event)


def test_nothing_latches() -> None:
    """A condition that passed and was seen is over: from every live state the way home is open."""
    for state in LIVE - {State.NORMAL}:
        alarm = Alarm("bed-1", "cold")
        alarm.state = state
        alarm.apply(Event.RETURN)
        alarm.apply(Event.ACKNOWLEDGE)
        assert not alarm.stands


def test_an_alarm_is_named_by_subject_and_condition() -> None:
    alarm = Alarm("tank-3", "far-warm")
    assert (alarm.id, alarm.stands) == ("tank-3/far-warm", False)
    alarm.active = True
    assert alarm.apply(Event.OCCUR) == "raised" and alarm.stands


def test_the_drawing_shows_every_step_once() -> None:
    """Each arrow that is told stands in the drawing, with both its goals where it has two."""
    lines = drawing().splitlines()
    assert len(lines) == len(set(lines)) == sum(o.step is not None for o in LIFE.values())
    text = " ".join(drawing().split())
    assert "UNACK --acknowledge-------------> ACKED acknowledged" in text
    assert "SHLVD --un-shelve---------------> UNACK or NORM unshelved" in text
