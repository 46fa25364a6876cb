"""From what the broker brought to facts, within what each sender may send."""

from __future__ import annotations

from kuraban.core.facts import Reading, Refusal
from kuraban.core.intake.wire import Wire
from kuraban.edges.mqtt.fair_queue import Arrived, Cut
from kuraban.runtime.intake import Intake
from tests.core.house import DUSK, brewery

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
    """A quarter of a megabyte of them, from a stolen pass-word."""
    found = intake().read(message(b"[" + b",".join([b"1"] * 100_000) + b"]"), DUSK)
    assert len(found) == 1 and isinstance(found[0], Refusal)


def test_what_was_let_go_unread_is_told_with_its_count() -> None:
    cut = Cut(TOPIC)
    for _ in range(7):
        cut.add(message(b"10.4"))
    (told,) = intake().lost([cut], DUSK)
    assert isinstance(told, Refusal) and told.count == 7 and told.probe == "t3-mid"
