"""Recordings through the very same core as the daemon, with their own clock."""

from __future__ import annotations

import math
from collections.abc import Callable
from contextlib import closing, nullcontext
from datetime import tzinfo
from pathlib import Path
from typing import IO, NamedTuple

import msgspec

from kuraban.core.effects import Message, Step, timeline_line
from kuraban.core.engine.engine import Engine
from kuraban.core.facts import (
    ClockStepped,
    EntryOutcome,
    HouseChanged,
    Impaired,
    Reading,
    Refusal,
)
from kuraban.core.intake.wire import Wire
from kuraban.core.site import House, to_document
from kuraban.core.texts.messages import Words
from kuraban.reading_ahead import house_told, read_ahead, worth_it
from kuraban.recording import BadLine, BadLines, Recorded, merged

PART_TOPIC = "watch/part"
"""Under the root: a part of the watch that failed or works again, in such a recording."""
CLOCK_TOPIC = "watch/clock"
"""Under the root: a step of the wall clock, in such a recording."""
BUNDLE = 1000


class Outcome(NamedTuple):
    """What a replay came to."""

    messages: int
    readings: int
    refused: int
    bad: tuple[BadLine, ...]
    bad_count: int


class Player:
    """One engine fed from recorded messages; findings of what is `left_out` reach nobody."""

    def __init__(
        self, house: House, root: str, words: Words, left_out: frozenset[str] = frozenset()
    ) -> None:
        self.root = root
        self.own = f"{root}/watch/"
        self.engine = Engine(words, left_out)
        self.wire = Wire(house, root, wall=False)
        self.first = to_document(house)
        self.begun = False
        self.readings = self.refused = 0

    def play(self, message: Recorded) -> None:
        at, topic = message.at, message.topic
        told = topic.startswith(self.own)
        if not self.begun and not (told and self._house(message)):
            self.engine.take(HouseChanged(at, self.first))
        elif told and self.begun and not self._house(message):
            self._part(message)
            self._clock(message)
        self.begun = True
        if told:
            return
        engine = self.engine
        if at < engine.now:
            at = engine.now
        for fact in self.wire.read(topic, message.payload, at, message.retained):
            engine.take(fact)

    def _house(self, message: Recorded) -> bool:
        """Take over a house as the watch knew it; whether the message told one."""
        house = house_told(message, self.root)
        if house is None:
            return False
        self.wire = Wire(house, self.root, wall=False)
        self.engine.take(HouseChanged(message.at, to_document(house)))
        self.wire.house = self.engine.view.house
        return True

    def _clock(self, message: Recorded) -> None:
        if message.topic != f"{self.root}/{CLOCK_TOPIC}":
            return
        try:
            step = msgspec.json.decode(message.payload, type=ClockStepped)
        except msgspec.MsgspecError:
            return
        self.engine.take(msgspec.structs.replace(step, received=message.at))
        self.wire.house = self.engine.view.house

    def _part(self, message: Recorded) -> None:
        if message.topic != f"{self.root}/{PART_TOPIC}":
            return
        try:
            part = msgspec.json.decode(message.payload, type=Impaired)
        except msgspec.MsgspecError:
            return
        self.engine.take(msgspec.structs.replace(part, received=message.at))

    def story(self) -> list[Step | Message]:
        turn = self.engine.drain()
        for fact in turn.facts:
            refused = isinstance(fact, EntryOutcome) and fact.fate == "refused"
            self.refused += refused or isinstance(fact, Refusal)
            self.readings += isinstance(fact, Reading)
        return turn.story


def replay(
    house: House,
    root: str,
    words: Words,
    paths: list[Path],
    *,
    until: float | None = None,
    passed: Callable[[int], None] = lambda count: None,
    bundle: int = BUNDLE,
    write: Callable[[Step | Message], None],
    stepped: Callable[[tzinfo], None] = lambda zone: None,
) -> Outcome:
    """Play recordings to the end and write every step and message as it comes about.

    `until` runs the clock on, or stops the playing there; `stepped` hears what tells the wall
    clock's time from each of its steps on. RecordingError where a file cannot be read; a bad line
    is counted and does not stop anything.
    """
    bad = BadLines()
    player = Player(house, root, words)
    count = 0

    def told() -> None:
        for event in player.story():
            write(event)

    read = read_ahead(house, root, paths, bad.add, passed) if worth_it(paths) else None
    messages = merged(paths, bad.add, passed) if read is None else read
    clock, last = f"{root}/{CLOCK_TOPIC}", math.inf if until is None else until
    with nullcontext() if read is None else closing(read):
        for message in messages:
            if isinstance(message, Reading):
                if message.received > last:
                    break
                player.engine.take(message)
            else:
                if message.at > last:
                    break
                if message.topic == clock:
                    player.engine.wake(message.at)
                    told()
                player.play(message)
                if message.topic == clock and player.begun:
                    stepped(player.engine.view.house.zone)
            count += 1
            if count % bundle == 0:
                told()
    if until is not None and player.begun:
        player.engine.wake(until)
    told()
    return Outcome(count, player.readings, player.refused, tuple(bad.first), bad.count)


class TimelineWriter:
    """A writer of JSON Lines in the site's zone, or another that it is given."""

    def __init__(self, house: House, file: IO[bytes]) -> None:
        self.zone = house.zone
        self._file = file
        self._encoder = msgspec.json.Encoder()

    def __call__(self, event: Step | Message) -> None:
        line = timeline_line(event, self.zone)
        self._file.write(self._encoder.encode(line) + b"\n")
