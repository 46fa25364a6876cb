"""Links in messages: who gets which button, and that none is kept anywhere."""

from __future__ import annotations

import time
from collections.abc import Iterator
from typing import Any

import msgspec
import pytest

from kuraban.core.effects import Message
from kuraban.core.facts import Delivered
from kuraban.edges.phones.courier import Addresses, Courier
from kuraban.edges.phones.fallback_outbox import MemoryOutbox
from kuraban.edges.phones.links import Links
from tests.edges.messages import message as plain
from tests.sink import Sink


def message(row_id: str, **more: Any) -> Message:
    return msgspec.structs.replace(plain(row_id), **more)


def made(subject: str, condition: str, person: str, act: str, at: float) -> str | None:
    return f"https://kura.example/a/{act}-{subject}-{condition}-{person}"


def ring(*alarms: str, **more: Any) -> Message:
    return message("m1", alarms=alarms, **more)


@pytest.fixture
def sink() -> Iterator[Sink]:
    with Sink() as running:
        yield running


def test_a_warm_tank_can_be_taken_in_hand_or_let_run() -> None:
    told = Links(made)(ring("tank-3/warm", person="aki")).splitlines()
    assert told == [
        "I have it: https://kura.example/a/acknowledge-tank-3-warm-aki",
        "let it run: https://kura.example/a/let-run-tank-3-warm-aki",
    ]


def test_each_ring_of_the_night_can_be_judged_from_the_morning_report() -> None:
    report = ring(
        step="notice", urgency="log", person="aki",
        asks=(("tank-3/warm", "03:10 Tank 3 warm"), ("chiller-1/stopped", "03:20 Chiller stopped")),
    )  # fmt: skip
    assert Links(made)(report).splitlines() == [
        "Worth it? 03:10 Tank 3 warm: https://kura.example/a/verdict-tank-3-warm-aki",
        "Worth it? 03:20 Chiller stopped: https://kura.example/a/verdict-chiller-1-stopped-aki",
    ]
    many = msgspec.structs.replace(report, asks=report.asks * 10)
    assert len(Links(made)(many).splitlines()) == 8


def test_what_is_past_its_limit_or_no_product_cannot_be_let_run() -> None:
    for alarm in ("tank-3/far-warm", "chiller-1/stopped", "t3-mid/silent"):
        assert "let it run" not in Links(made)(ring(alarm))


def test_in_the_language_of_whom_it_goes_to() -> None:
    assert Links(made)(ring("tank-3/warm", language="ja")).startswith("対応します: https://")


def test_several_alarms_have_a_button_each_and_say_which() -> None:
    told = Links(made)(ring(*(f"tank-{number}/warm" for number in range(1, 8)))).splitlines()
    assert len(told) == 4 and told[0].startswith("I have it (tank-1): ")


@pytest.mark.parametrize("more", [{"urgency": "log"}, {"alarms": ()}])
def test_words_that_ask_for_no_answer_have_none(more: dict[str, Any]) -> None:
    assert Links(made)(message("m1", **{"alarms": ("tank-3/warm",), **more})) == ""


def test_without_a_public_address_there_is_no_line() -> None:
    assert Links(lambda *_: None)(ring("tank-3/warm")) == ""


def deliver(sink: Sink, further: Any) -> tuple[MemoryOutbox, str]:
    outbox, told = MemoryOutbox(), list[Delivered]()
    courier = Courier(
        outbox, {"aki": Addresses((sink.url("aki"),))}, told.append, time.time, further=further
    )
    outbox.put(ring("tank-3/warm", person="aki", body="First: display."))
    courier.start()
    (rung,) = sink.await_count(1)
    courier.stop(2.0)
    return outbox, rung.body


def test_the_link_leaves_with_the_message_and_stays_nowhere_else(sink: Sink) -> None:
    """What the outbox holds has none, so the journal never does."""
    seen: list[Message] = []
    links = Links(made)

    def further(message: Message) -> str:
        seen.append(message)
        return links(message)

    _, body = deliver(sink, further)
    assert body.splitlines()[0] == "First: display."
    assert body.splitlines()[1].startswith("I have it: https://kura.example/a/")
    assert "https" not in seen[0].text


def test_a_fault_in_making_links_keeps_no_message_back(sink: Sink) -> None:
    def broken(message: Message) -> str:
        raise RuntimeError("no key")

    assert deliver(sink, broken)[1] == "First: display."
