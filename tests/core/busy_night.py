"""One busy night as messages: all that can come, late, twice, wrong, ahead of time or not."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Iterator
from functools import cache
from typing import Any, NamedTuple

from kuraban.core.effects import Message, Step
from kuraban.core.engine.engine import Engine
from kuraban.core.facts import Fact, HouseChanged
from kuraban.core.intake.wire import Wire
from kuraban.core.site import House, to_document
from kuraban.core.units import HOUR, MINUTE, show_time
from tests.core.house import AWAKE, DUSK, TOKYO, brewery, words

HOUSE: House = brewery(AWAKE)
HOURS = 14
DAWN = DUSK + HOURS * HOUR
Story = list[Step | Message]


class Sent(NamedTuple):
    at: float
    topic: str
    payload: str
    retained: bool = False


def _t3(minute: float) -> float:
    """As planned, too warm from nine on, cooled down again after three."""
    warm = min(max(minute - 180, 0) / 120, 1.3) - max(minute - 540, 0) / 200
    return 10.0 + max(warm, 0.0)


def _t4(minute: float) -> float:
    return 10.0 + 0.2 * math.sin(minute / 20)


def _bed(minute: float) -> float:
    """Koji that loses its heat for an hour before midnight."""
    lost = min(max(minute - 300, 0) / 20, 2.8) - max(minute - 400, 0) / 20
    return 32.0 - max(lost, 0.0)


def _store(minute: float) -> float:
    return 9.5 if 420 < minute < 520 else 5.0


VALUES: dict[str, Callable[[float], float]] = {
    "t3-mid": _t3, "t4-mid": _t4, "b1-mid": _bed, "s-air": _store, "m1-mid": lambda minute: 12.0,
}  # fmt: skip
DARK = (600, 640)
"""Minutes in which the power is out; what was measured meanwhile comes after."""


def _readings() -> Iterator[Sent]:
    for minute in range(1, HOURS * 60, 2):
        for number, (probe, value) in enumerate(VALUES.items()):
            if DARK[0] < minute < DARK[1] or (probe == "m1-mid" and 200 < minute < 240):
                continue
            at = DUSK + minute * MINUTE + number * 0.25
            noise = 0.0625 * ((minute * 7 + number * 3) % 3 - 1)
            yield Sent(at, f"kura/reading/{probe}", f"{value(minute) + noise:.4f}")


def _oddities() -> Iterator[Sent]:
    def at(minute: float) -> float:
        return DUSK + minute * MINUTE + 30

    def stamped(minute: float, value: float, ahead: float = 0.0) -> str:
        return json.dumps({"value": value, "at": at(minute) + ahead})

    backfill = [
        {"value": round(_t3(minute), 3), "at": show_time(at(minute), TOKYO)}
        for minute in range(*DARK, 2)
    ]
    yield Sent(at(0), "kura/reading/t3-mid", "14.5", True)
    yield Sent(at(20), "kura/reading/t3-mid", "85.0")
    yield Sent(at(22), "kura/reading/t4-mid", "0.0")
    yield Sent(at(24), "kura/reading/t4-mid", "warm")
    yield Sent(at(26), "kura/reading/nowhere", "10")
    for minute in (40, 41, 43):
        yield Sent(at(minute), "kura/reading/t4-mid", stamped(40, 10.0))
    yield Sent(at(44), "kura/reading/t4-mid", stamped(40, 10.3))
    for minute, probe in ((90, "t3-mid"), (90, "t4-mid"), (91, "b1-mid"), (92, "t3-mid")):
        value = VALUES[probe](minute)
        yield Sent(at(minute), f"kura/reading/{probe}", stamped(minute, value, 20 * MINUTE))
    yield Sent(at(DARK[1] + 4), "kura/reading/t3-mid", json.dumps(backfill))


def _entries() -> Iterator[Sent]:
    serial = 0

    def entry(minute: float, subject: str, kind: str, **fields: Any) -> Sent:
        nonlocal serial
        serial += 1
        told = {"entry": kind, "id": f"n{serial}", **fields}
        return Sent(DUSK + minute * MINUTE + 10, f"kura/log/{subject}", json.dumps(told))

    def moment(minute: float) -> str:
        return show_time(DUSK + minute * MINUTE, TOKYO)

    yield entry(0, "tank-3", "batch-start", batch="12", course="mash", stage="main", by="aki")
    yield entry(0, "tank-4", "batch-start", batch="13", course="mash", stage="naka", by="aki")
    yield entry(0, "bed-1", "batch-start", batch="K-7", course="koji", by="dai")
    yield entry(0, "moto-1", "batch-start", batch="15", course="moto", since=moment(-2000))
    yield entry(50, "tank-4", "stage", stage="tome", since=moment(40), by="aki")
    yield entry(60, "tank-3", "stir", at=moment(64), by="dai")
    yield entry(100, "tank-4", "addition", what="rice", kg=200, at=moment(55))
    yield entry(110, "tank-4", "stir", by="dai")
    yield entry(112, "tank-4", "take-back", of="n8", by="dai")
    yield entry(130, "watch", "note", text="frost")
    yield entry(32, "tank-4", "acknowledge", by="aki")
    yield entry(446, "tank-3", "let-run", **{"for": "2h", "more": 0.5}, who="aki")
    yield entry(340, "bed-1", "acknowledge", by="cho", **{"for": "10m"})
    yield entry(470, "bed-1", "handwork", by="cho")
    yield entry(430, "store", "shelve", condition="warm", **{"for": "1h"}, by="ken")
    yield entry(580, "tank-3", "aim", celsius=10.6, by=moment(800), who="aki")
    yield entry(455, "tank-3", "aim", celsius=5.0, by=moment(10), who="aki")
    yield entry(500, "m1-mid", "out-of-service", by="bun")
    yield entry(700, "tank-4", "probe-out", by="dai")
    yield entry(720, "tank-4", "move", to="tank-3")
    yield entry(760, "bed-1", "split", to=["bed-1", "bed-2"], by="dai")
    yield entry(770, "bed-1", "batch-end", by="aki")


@cache
def messages() -> tuple[Sent, ...]:
    return tuple(sorted([*_readings(), *_oddities(), *_entries()], key=lambda sent: sent.at))


@cache
def facts() -> tuple[Fact, ...]:
    """What comes of the messages at the door, the house first."""
    wire = Wire(HOUSE)
    found: list[Fact] = [HouseChanged(DUSK, to_document(HOUSE))]
    for sent in messages():
        found += wire.read(sent.topic, sent.payload.encode(), sent.at, sent.retained)
    return tuple(found)


@cache
def told() -> tuple[Step | Message, ...]:
    """The story of that night, told at one go."""
    engine = Engine(words())
    for fact in facts():
        engine.take(fact)
    engine.wake(DAWN)
    return tuple(engine.drain().story)
