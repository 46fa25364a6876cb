"""From what the broker brought to facts, within what each sender may send."""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from kuraban.core.facts import Fact, Impaired, Part, Reading, Refusal
from kuraban.core.intake.wire import Wire
from kuraban.core.units import HOUR, MINUTE
from kuraban.edges.mqtt.fair_queue import Arrived, Cut
from kuraban.runtime.intake import Intake, unheard_since
from tests.core.house import DUSK, brewery, mashing

TOPIC = "kura/reading/t3-mid"


def message(payload: bytes, size: int = 0) -> Arrived:
    return Arrived(TOPIC, payload, DUSK, False, 1, 1, 1, size)


def intake() -> Intake:
    return Intake(Wire(brewery()))


def test_a_reading_is_a_fact() -> None:
    (fact,) = intake().read(message(b"10.4"), DUSK)
    assert isinstance(fact, Reading) and fact.value == 10.4


def test_a_message_that_was_too_long_is_one_refusal_and_not_read() -> None:
    (fact,) = intake().read(message(b"[1,1", 900_000), DUSK)
    assert isinstance(fact, Refusal) and fact.probe == "t3-mid" and "900000" in fact.reason


def test_a_list_of_ones_is_one_refusal() -> None:
    """A quarter of a megabyte of them, from a stolen password."""
    found = intake().read(message(b"[" + b",".join([b"1"] * 100_000) + b"]"), DUSK)
    assert len(found) == 1 and isinstance(found[0], Refusal)


def test_what_was_let_go_unread_is_told_with_its_count() -> None:
    cut = Cut(TOPIC)
    for _ in range(7):
        cut.add(message(b"10.4"))
    (told,) = intake().lost([cut], DUSK)
    assert isinstance(told, Refusal) and told.count == 7 and told.probe == "t3-mid"


def dated(at: float) -> Arrived:
    return message(b'{"value": 10.4, "at": %.0f}' % at)


def of(facts: Sequence[Fact]) -> float:
    (fact,) = facts
    assert isinstance(fact, Reading)
    return fact.at


def stepped(since: float | None = None, now: float = 0.0) -> Intake:
    """The wall clock went an hour forward; the board's did not."""
    wire = Wire(brewery())
    found = Intake(wire, since, now)
    wire.stepped(HOUR, 0.0)
    return found


def test_what_waited_while_the_broker_was_lost_is_as_old_as_it_says() -> None:
    """Though our clock was put an hour forward meanwhile, and nobody heard by which the board
    goes."""
    one, lost = stepped(), DUSK - 20 * MINUTE
    one.impaired(Impaired("broker", True, lost))
    one.impaired(Impaired("broker", False, DUSK))
    assert of(one.read(dated(DUSK - 15 * MINUTE), DUSK + 1)) == DUSK - 15 * MINUTE


def test_what_waited_for_the_watch_and_then_for_the_broker_is_too() -> None:
    """It was away for two hours, and when it was back the broker was not there."""
    back = DUSK - 30 * MINUTE
    one = stepped(DUSK - 2 * HOUR, back)
    one.impaired(Impaired("broker", True, back))
    one.impaired(Impaired("broker", False, DUSK))
    assert of(one.read(dated(DUSK - 90 * MINUTE), DUSK + 1)) == DUSK - 90 * MINUTE


def test_what_waited_while_the_machine_slept_is_as_old_as_it_says() -> None:
    """It learns only as it wakes that the broker has lost it, and that the clock went on an hour
    meanwhile: nothing was heard since its last message."""
    wire, asleep = Wire(brewery()), DUSK - 2 * HOUR
    one = Intake(wire)
    assert of(one.read(dated(asleep), asleep)) == asleep
    one.impaired(Impaired("broker", True, DUSK))
    wire.stepped(HOUR, DUSK)
    one.impaired(Impaired("broker", False, DUSK + 1))
    for minutes in (115, 95, 61, 30, 5, 0):
        at = DUSK - minutes * MINUTE
        assert of(one.read(dated(at), DUSK + 2)) == at


def test_what_is_lost_beside_the_broker_keeps_no_message() -> None:
    one = stepped()
    one.impaired(Impaired("pages", True, DUSK - 20 * MINUTE))
    one.impaired(Impaired("pages", False, DUSK))
    assert of(one.read(dated(DUSK - 15 * MINUTE), DUSK + 1)) == DUSK - 15 * MINUTE - HOUR


def test_a_watch_that_ended_before_it_reached_the_broker_heard_nothing_either() -> None:
    """The one before it did: what has come to the broker since then still waits."""
    night = mashing()
    night.say("t3-mid", 10.0)
    heard = night.now
    night.wake(heard + 2 * HOUR)
    assert unheard_since(night.engine, heard + 2 * HOUR) == heard
    assert unheard_since(night.engine, heard - 60.0) == heard - 60.0


def test_what_came_while_the_journal_failed_may_wait_after_a_kill_too() -> None:
    """An hour's readings are in the journal, and the broker was answered for none of them."""
    night = mashing()
    failed = night.now
    night.take(Impaired("journal", True, failed, "read-only"))
    night.say("t3-mid", 10.0)
    night.wake(failed + HOUR)
    assert unheard_since(night.engine, failed + HOUR) == failed
    night.take(Impaired("journal", False, night.now))
    night.say("t3-mid", 10.0)
    assert unheard_since(night.engine, night.now) == failed, "nothing is answered yet"
    night.wake(night.now + 10 * MINUTE)
    night.say("t3-mid", 10.0)
    assert unheard_since(night.engine, night.now) == night.now


@pytest.mark.parametrize("part", ["broker", "watch"])
def test_what_came_as_somebody_listened_again_may_wait_after_a_kill_too(part: Part) -> None:
    """It had waited since nobody listened, and the broker was answered for none of it."""
    night = mashing()
    lost = night.now
    night.take(Impaired(part, True, lost))
    night.wake(lost + HOUR)
    night.take(Impaired(part, False, night.now))
    night.say("t3-mid", 10.0)
    assert unheard_since(night.engine, night.now) == lost
    night.wake(night.now + 10 * MINUTE)
    night.say("t3-mid", 10.0)
    assert unheard_since(night.engine, night.now) == night.now
