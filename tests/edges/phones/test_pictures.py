"""Pictures go with messages, or after them, and never hold one back."""

from __future__ import annotations

import base64
import threading
import time
from collections.abc import Callable, Iterator
from typing import Any

import msgspec
import pytest

from kuraban.core.effects import Message
from kuraban.core.facts import Delivered
from kuraban.edges.phones import pictures as timing
from kuraban.edges.phones.courier import Addresses, Courier
from kuraban.edges.phones.fallback_outbox import MemoryOutbox
from kuraban.edges.phones.pictures import MOST_WAITING, Pictures
from tests.edges.messages import message as plain
from tests.sink import Sink
from tests.stopwatch import Stopwatch

PNG = base64.b64decode(
    "iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAYAAAAfFcSJAAAADUlEQVR42mNk+M9QDwADhgGAWjR9awAAAABJRU5ErkJggg=="
)


def message(row_id: str, **more: Any) -> Message:
    return msgspec.structs.replace(plain(row_id), **more)


def page(number: int = 1, **more: Any) -> Message:
    fields = {"alarms": (f"tank-{number}/warm",), "at": 1769880000.0 + number, **more}
    return message(f"m{number}", **fields)


class Shower:
    """A service that takes pictures and remembers what it was given."""

    shows = True

    def __init__(self) -> None:
        self.got: list[tuple[str, bool, bytes | None]] = []
        self.refuses = False

    def send(self, title: str, body: str, urgent: bool, picture: bytes | None = None) -> str:
        self.got.append((body, urgent, picture))
        return "the service answered no, or was not reached" if self.refuses else ""


class Plain(Shower):
    shows = False


class Round:
    def __init__(self, draw: Callable[[Message], bytes | None], service: Shower) -> None:
        self.outbox, self.told, self.service = MemoryOutbox(), list[Delivered](), service
        self.courier = Courier(
            self.outbox, {"aki": Addresses(("any://",))}, self.told.append, time.time,
            sender=lambda address: service, pictures=Pictures(draw),
        )  # fmt: skip
        self.courier.start()

    def put(self, *numbers: int) -> Round:
        for number in numbers:
            self.outbox.put(page(number, person="aki", body=f"body {number}"))
        self.courier.nudge()
        return self

    def got(self, count: int, within: float = 8.0) -> list[tuple[str, bool, bytes | None]]:
        deadline = time.monotonic() + within
        while len(self.service.got) < count and time.monotonic() < deadline:
            time.sleep(0.01)
        return list(self.service.got)


@pytest.fixture
def rounds(monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[..., Round]]:
    monkeypatch.setattr(timing, "WITHIN", 0.3)
    made: list[Round] = []

    def make(draw: Callable[[Message], bytes | None], service: Shower | None = None) -> Round:
        made.append(Round(draw, service or Shower()))
        return made[-1]

    yield make
    for one in made:
        one.courier.stop(1.0)


def test_a_picture_that_is_ready_goes_with_its_text(rounds: Callable[..., Round]) -> None:
    assert rounds(lambda message: PNG).put(1).got(1) == [("body 1", True, PNG)]


def test_a_picture_that_is_not_ready_follows_without_ringing(
    rounds: Callable[..., Round],
) -> None:
    """The text does not wait for it."""
    drawn = threading.Event()

    def draw(message: Message) -> bytes:
        drawn.wait(10)
        return PNG

    took = Stopwatch()
    round_ = rounds(draw).put(1)
    assert round_.got(1) == [("body 1", True, None)]
    assert took.read() < 2.0
    assert [told.sent for told in round_.told] == [True]
    drawn.set()
    assert round_.got(2)[1] == ("The last hours.", False, PNG)


def test_a_drawing_that_hangs_holds_back_no_message(rounds: Callable[..., Round]) -> None:
    """Not the first, and the next ones do not even wait."""
    hung = threading.Event()
    round_ = rounds(lambda message: PNG if hung.wait(20) else None).put(1)
    round_.got(1)
    took = Stopwatch()
    assert len(round_.put(2, 3, 4, 5).got(5)) == 5
    assert took.read() < 0.3
    hung.set()


def test_a_fault_in_drawing_costs_the_picture_alone(rounds: Callable[..., Round]) -> None:
    def broken(message: Message) -> bytes:
        raise ValueError("no font")

    assert rounds(broken).put(1, 2).got(2) == [("body 1", True, None), ("body 2", True, None)]


def test_where_pictures_are_not_taken_none_is_drawn(rounds: Callable[..., Round]) -> None:
    asked: list[Message] = []

    def draw(message: Message) -> bytes:
        asked.append(message)
        return PNG

    assert rounds(draw, Plain()).put(1).got(1) == [("body 1", True, None)]
    assert not asked


def test_a_text_that_failed_with_its_picture_is_tried_again_without(
    rounds: Callable[..., Round],
) -> None:
    """Some services refuse a picture for its size; that must not keep the text from arriving."""
    service = Shower()
    service.refuses = True
    round_ = rounds(lambda message: PNG, service).put(1)
    assert round_.got(1)[0][2] == PNG
    service.refuses = False
    assert round_.got(2)[1] == ("body 1", True, None)


def test_several_phones_share_one_picture() -> None:
    asked: list[Message] = []

    def draw(message: Message) -> bytes:
        asked.append(message)
        return PNG

    pictures = Pictures(draw)
    first = pictures.of(page(1, person="aki"))
    second = pictures.of(page(1, person="ken"))
    assert first is not None and first is second and pictures.wait(first) == PNG
    assert len(asked) == 1


def test_only_a_ring_about_one_thing_has_a_picture() -> None:
    pictures = Pictures(lambda message: PNG)
    assert pictures.of(page(1, step="notice")) is None
    assert pictures.of(page(1, alarms=("tank-1/warm", "tank-2/warm"))) is None


def test_more_than_can_be_drawn_go_without() -> None:
    hung = threading.Event()
    pictures = Pictures(lambda message: PNG if hung.wait(20) else None)
    found = [pictures.of(page(number)) for number in range(MOST_WAITING + 4)]
    assert found[0] is not None and found[-1] is None
    hung.set()


def test_a_real_service_gets_the_picture_as_an_attachment() -> None:
    """Apprise over loopback HTTP; the strict sink takes the notification as it is."""
    with Sink() as sink:
        outbox, told = MemoryOutbox(), list[Delivered]()
        courier = Courier(
            outbox, {"aki": Addresses((sink.url("aki"),))}, told.append, time.time,
            pictures=Pictures(lambda message: PNG),
        )  # fmt: skip
        outbox.put(page(1, person="aki"))
        courier.start()
        sink.await_count(1)
        courier.stop(2.0)
        (payload,) = sink.attached
    assert base64.b64decode(payload[0]["base64"]) == PNG
    assert payload[0]["filename"] == "curve.png" and payload[0]["mimetype"] == "image/png"
