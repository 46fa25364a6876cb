"""Everything the watch knew, told again as the messages of a recording that decides alike.

The journal holds readings with their offsets added and probes' own topics resolved. So the house
in the recording has no own topics, and a value is written so that adding the offset gives the very
number that was judged. What a message said twice is there once; what was refused is there in its
first bytes, and a bus error code as such a code.

Every time in such a recording, that of each line too, is the watch's own (`core.timescale`), which
never goes back; how far the wall clock is ahead of it stands in lines of their own.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Iterator
from datetime import UTC, datetime, tzinfo
from typing import NamedTuple

import msgspec

from kuraban.core import entries as e
from kuraban.core.facts import (
    ClockStepped,
    Fact,
    HouseChanged,
    Impaired,
    Logged,
    Reading,
    Refusal,
)
from kuraban.core.fates.entry_hazards import WEIGHED
from kuraban.core.intake.entry_times import carried
from kuraban.core.intake.reading_decoder import BUS_CODES
from kuraban.core.plan.counted_entries import ToldEntry
from kuraban.core.plan.entry_corrections import CORRECTIONS
from kuraban.core.site import House, from_document
from kuraban.core.texts.sanitized_text import json_plain
from kuraban.core.timescale import wall_of
from kuraban.core.units import AHEAD, DAY, show_duration
from kuraban.recording import HOUSE_TOPIC
from kuraban.replay import CLOCK_TOPIC, PART_TOPIC
from kuraban.store.history import History
from kuraban.store.rows import entry_row, received_of

ENTRIES_BACK = 60 * DAY
"""How far before its beginning a recording reaches for what then was in force."""
FARTHEST_NUMBER = 1e11
"""From here on `parse_time` takes a number for milliseconds."""
_CODE = str(min(BUS_CODES))


class Line(NamedTuple):
    """One message; `at` is when the watch received it, Unix seconds."""

    at: float
    topic: str
    payload: str
    retained: bool = False


def retell(history: History, root: str, since: float | None, until: float | None) -> Iterator[Line]:
    """The journal as messages, in the order in which the watch took them.

    With `since`, the house and the entries of the time before come first, as they stood then, all
    at that moment, the entries with their own times. JournalError where the journal cannot be read.
    """
    pen = _Pen(root)
    house: HouseChanged | None = None
    clock: list[ClockStepped] = []
    begun = since is None
    for _, fact in history.facts_since(since, until):
        if not begun and since is not None and received_of(fact) < since:
            if isinstance(fact, HouseChanged):
                house = fact
            elif isinstance(fact, ClockStepped):
                clock.append(fact)
            continue
        if not begun and since is not None:
            begun = True
            yield from pen.opening(house, clock, _in_force(history, since), since)
        yield from pen.lines(fact, received_of(fact))


def _in_force(history: History, since: float) -> Iterator[ToldEntry]:
    """Entries of before as they stood: those that counted, that waited, or lay ahead."""
    for told in history.told(None, since - ENTRIES_BACK, since + AHEAD, known_by=since):
        correction = isinstance(told.logged.entry, (*CORRECTIONS, e.Confirm))
        waits = told.outcome is None or told.outcome.fate == "waiting"
        if told.logged.received < since and (waits or (told.counts and not correction)):
            yield told


class _Pen:
    """Writes facts as messages for the house in force."""

    def __init__(self, root: str) -> None:
        self.root = root
        self.house: House | None = None
        self._told: set[tuple[str, str]] = set()
        """Entries, as an older watch wrote of them when it refused one: a replay will do so too."""

    def opening(
        self, house: HouseChanged | None, clock: list[ClockStepped], entries: Iterable[ToldEntry],
        at: float,
    ) -> Iterator[Line]:  # fmt: skip
        """The house, the clock and the entries as they stood. What had counted counts at once: it
        was weighed when it came, so who made it is left out where that would be asked anew."""
        for fact in (house, *clock):
            if fact is not None:
                yield from self.lines(fact, at)
        for told in entries:
            logged = told.as_it_counts
            if told.counts and type(logged.entry) in WEIGHED:
                logged = msgspec.structs.replace(logged, by=None)
            yield from self.lines(logged, at)

    def lines(self, fact: Fact, at: float) -> Iterator[Line]:
        match fact:
            case Reading():
                yield self._reading(fact, at)
            case Logged():
                yield Line(at, f"{self.root}/log/{fact.subject}", entry_text(fact))
                self._told.add((f"log/{fact.subject}", fact.id))
            case Refusal() if (fact.topic, fact.head) in self._told or self._elsewhere(fact):
                return
            case Refusal():
                yield self._refusal(fact, at)
            case HouseChanged():
                yield Line(at, f"{self.root}/{HOUSE_TOPIC}", self._house(fact.document))
            case Impaired():
                told = {"part": fact.part, "holds": fact.holds, "received": at}
                payload = json.dumps({**told, "reason": fact.reason}, ensure_ascii=False)
                yield Line(at, f"{self.root}/{PART_TOPIC}", payload)
            case ClockStepped():
                yield Line(at, f"{self.root}/{CLOCK_TOPIC}", msgspec.json.encode(fact).decode())
            case _:
                return

    def _house(self, document: str) -> str:
        self.house = from_document(document)
        told = json.loads(document)
        for probe in told["probes"]:
            probe.update(topic=None, pointer=None, at_pointer=None)
        return json.dumps(told, ensure_ascii=False)

    def _reading(self, reading: Reading, at: float) -> Line:
        probe = self.house.probe.get(reading.probe) if self.house is not None else None
        value = _term(reading.value, probe.offset if probe is not None else 0.0)
        topic = f"{self.root}/reading/{reading.probe}"
        moment = reading.sent if reading.sent is not None else reading.at
        if moment == at:
            return Line(at, topic, json.dumps({"value": value}), reading.retained)
        if reading.retained and reading.sent is None:
            ago = {"n": reading.probe, "v": value, "t": _term(moment, at)}
            return Line(at, topic, json.dumps([ago]), True)
        told = _spelled(moment)
        return Line(at, topic, json.dumps({"value": value, "at": told}), reading.retained)

    def _elsewhere(self, refusal: Refusal) -> bool:
        """Whether it was refused only because its probe speaks on a topic of its own: in the
        recording that probe speaks here, and would be believed."""
        name = refusal.topic.rpartition(f"{self.root}/reading/")[2]
        probe = None if self.house is None else self.house.probe.get(name)
        return probe is not None and probe.topic is not None and not refusal.wild

    def _refusal(self, refusal: Refusal, at: float) -> Line:
        """What is wild counts against its probe; the rest is told as far as it was kept."""
        if refusal.wild and refusal.probe is not None:
            code = _is_number(refusal.head)
            topic = f"{self.root}/reading/{refusal.probe}"
            return Line(at, topic, refusal.head if code else _CODE)
        topic = refusal.topic
        if not topic.startswith(f"{self.root}/"):
            topic = f"{self.root}/{topic}" if topic.startswith(("log/", "reading/")) else topic
        return Line(at, topic, refusal.head)


def _spelled(moment: float) -> float | str:
    """A sender's time; one so far that as a number it would be taken for milliseconds, as text."""
    far = abs(moment) >= FARTHEST_NUMBER
    return datetime.fromtimestamp(moment, UTC).isoformat() if far else moment


def _is_number(text: str) -> bool:
    try:
        return math.isfinite(float(text))
    except ValueError:
        return False


def _term(total: float, known: float) -> float:
    """The number that, added to `known`, gives `total` to the last bit, as near as there is one."""
    guess = total - known
    near = [round(guess, digits) for digits in (3, 4, 6)]
    near += [guess, math.nextafter(guess, math.inf), math.nextafter(guess, -math.inf)]
    return next((term for term in near if term + known == total), guess)


def entry_text(logged: Logged, zone: tzinfo | None = None) -> str:
    """The entry as a message; with `zone` the times in it are the wall clock's."""
    told: dict[str, object] = json.loads(entry_row(0, logged)[-1])
    if isinstance(told.get("for"), (int, float)):
        told["for"] = show_duration(float(str(told["for"])))
    told |= {"id": logged.id, "at": logged.at}
    if zone is not None:
        told = carried(told, lambda at: wall_of(at, zone)) | {"at": wall_of(logged.at, zone)}
    if logged.by is not None:
        told["who" if isinstance(logged.entry, e.Aim) else "by"] = logged.by
    return json.dumps(told, ensure_ascii=False)


def line_text(line: Line, zone: tzinfo) -> str:
    """The line as it stands in a recording."""
    moment = datetime.fromtimestamp(line.at, zone)
    told = {"tst": moment.isoformat(), "topic": line.topic, "payload": line.payload, "qos": 1}
    return json_plain(json.dumps({**told, "retain": int(line.retained)}, ensure_ascii=False))
