"""The one door for foreign bytes: an MQTT message comes out as readings, entries or refusals.

Whatever arrives, `Wire.read` answers and never raises. A reading's payload is a decimal text, a
JSON object with `value` and perhaps `at`, a list of such objects, a SenML pack, or whatever lies
behind a probe's own topic and JSON Pointer. The elements of a list stand alone: the bad ones are
refused, in one row for all of them, and the others are taken.

Two ways lead through the door. The common forms, a number alone and an object with nothing but
`value` and `at`, are recognised in about a microsecond; everything else, all that is refused
included, takes the slow way, which knows every form and words the reasons. Where the quick way
answers, the slow one would have given the same.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import msgspec

from kuraban.core.facts import Logged, Reading, Refusal
from kuraban.core.intake.entry_parser import entry_from
from kuraban.core.intake.entry_validation import no_subject
from kuraban.core.intake.payload import document_of, head_of, json_of, safe, show, text_of, untwice
from kuraban.core.intake.reading_decoder import (
    Port,
    Records,
    Sample,
    Wild,
    port_of,
    records_of,
    samples,
    value_of,
)
from kuraban.core.intake.sender_times import SenderTimes
from kuraban.core.site import WATCH, House, Probe
from kuraban.core.units import AHEAD, BOARD_EPOCH, parse_time

__all__ = ["LONGEST_REASON", "Wire", "entry_from"]

LONGEST_REASON = 400
_QUICK = 128


class _Told(msgspec.Struct, gc=False):
    value: float | bool
    at: float | str | None = None


_told = msgspec.json.Decoder(_Told).decode


class Wire:
    """Reads messages for one house; `root` is the first part of its topics.

    Times in messages are the wall clock's, which `stepped` tells of; with `wall` false they are the
    watch's own, as in a recording. ValueError if a probe's pointer is no JSON Pointer.
    """

    def __init__(self, house: House, root: str = "kura", *, wall: bool = True) -> None:
        self.house = house
        self.root = root
        self._wall = wall
        self._times = SenderTimes(house.site.late_after)
        self._plain = True
        """The wall clock has never stepped."""
        self._late_after = house.site.late_after
        self._ports = _ports(house, f"{root}/reading/")
        self._quick = {
            topic: ports[0]
            for topic, ports in self._ports.items()
            if len(ports) == 1 and ports[0].pointer is None and not ports[0].converts
        }

    def subscriptions(self) -> tuple[str, ...]:
        """Topic filters that bring in everything the door can read, none of them twice."""
        covered = (f"{self.root}/reading/", f"{self.root}/log/")
        own = {
            topic
            for topic in self._ports
            if not (topic.startswith(covered) and topic.count("/") == self.root.count("/") + 2)
        }
        return (f"{self.root}/reading/+", f"{self.root}/log/+", *sorted(own))

    def stepped(self, ahead: float, at: float) -> None:
        """The wall clock is `ahead` of the watch's time from `at` on, seconds."""
        if self._wall:
            self._times.stepped(ahead, at)
            self._plain = self._times.plain

    def back(self, since: float, now: float) -> None:
        """Nobody listened between these two moments of the watch's time, and messages waited."""
        self._times.back(since, now)

    def line_of(self, topic: str) -> str:
        """The topic itself where it is one of the house; all others are one line, without name."""
        if topic in self._ports:
            return topic
        before, _, subject = topic.rpartition("/")
        return topic if self._logs(before, subject) else ""

    def _logs(self, before: str, subject: str) -> bool:
        house = self.house
        known = subject in house.place or subject in house.cooler or subject in house.probe
        return before == f"{self.root}/log" and (known or subject == WATCH)

    def probes_of(self, topic: str) -> tuple[str, ...]:
        """The probes that speak on a topic."""
        return tuple(port.probe for port in self._ports.get(topic, ()))

    def unread(self, topic: str, head: bytes, received: float, wrong: str) -> Refusal:
        """The refusal of a message that is not read at all."""
        probe = next(iter(self.probes_of(topic)), None)
        return _refusal(topic, head, received, ValueError(wrong), probe)

    def read(
        self, topic: str, payload: bytes, received: float, retained: bool = False
    ) -> list[Reading | Refusal | Logged]:
        """Everything that one message says, and why what it does not say was refused."""
        port = self._quick.get(topic)
        if port is not None and len(payload) <= _QUICK:
            reading = self._read_quickly(port, payload, received, retained)
            if reading is not None:
                return [reading]
        return self._read_slowly(topic, payload, received, retained)

    def _read_quickly(
        self, port: Port, payload: bytes, received: float, retained: bool
    ) -> Reading | None:
        """The reading of a common form; None sends the message the slow way."""
        sent: float | None = None
        try:
            if payload.startswith(b"{"):
                told = _told(payload)
                raw, at = told.value, told.at
                # as many quotes as `value`, `at` and a time in text need: nothing else is there
                quotes = payload.count(b'"')
                if quotes != (2 if at is None else 6 if isinstance(at, str) else 4):
                    return None
                if at is not None:
                    sent = parse_time(at)
                if not port.signal and (raw is True or raw is False):
                    return None
            else:
                raw = float(payload)
                if b"_" in payload:
                    return None
        except (ValueError, msgspec.DecodeError):
            return None
        value = raw + port.offset
        if not port.low <= value <= port.high or raw in port.codes:
            return None
        if port.signal and value != 0.0 and value != 1.0:
            return None
        return self._dated(port, value, sent, True, received, retained)

    def _dated(
        self,
        port: Port,
        value: float,
        sent: float | None,
        dated: bool,
        received: float,
        retained: bool,
    ) -> Reading:
        if sent is None:
            return Reading(port.probe, received, value, received, None, retained, False)
        known = sent >= BOARD_EPOCH
        if known and dated and not self._plain:
            sent = self._times.moment(port.probe, sent, received)
        if not known or sent > received + AHEAD:
            return Reading(port.probe, received, value, received, sent, retained, False)
        late = received - sent > self._late_after
        return Reading(port.probe, sent, value, received, None, retained and not dated, late)

    def _read_slowly(
        self, topic: str, payload: bytes, received: float, retained: bool
    ) -> list[Reading | Refusal | Logged]:
        ports = self._ports.get(topic)
        try:
            if ports is not None:
                return self._readings(ports, topic, payload, received, retained)
            if topic.startswith(f"{self.root}/log/"):
                return [self._entry(topic, payload, received, retained)]
            raise ValueError(self._no_topic(topic))
        except (ValueError, OverflowError, RecursionError) as wrong:
            probe = ports[0].probe if ports is not None else None
            return [_refusal(topic, payload, received, wrong, probe)]

    def _readings(
        self, ports: tuple[Port, ...], topic: str, payload: bytes, received: float, retained: bool
    ) -> list[Reading | Refusal | Logged]:
        document = document_of(text_of(payload))
        records = records_of(document, received)
        found: list[Reading | Refusal | Logged] = []
        for port in ports:
            wrong = _Wrong()
            for sample in self._samples(port, document, records, received):
                try:
                    if isinstance(sample, ValueError):
                        raise sample
                    value = value_of(port, sample)
                    found.append(
                        self._dated(port, value, sample.sent, sample.dated, received, retained)
                    )
                except ValueError as error:
                    wrong.add(error)
            found += wrong.refusals(topic, payload, received, port.probe)
        return found

    def _samples(
        self,
        port: Port,
        document: object,
        records: Records | ValueError | None,
        received: float,
    ) -> Iterable[Sample | ValueError]:
        """What a sender's clock goes by shows in the newest of what it sends at once."""
        if self._plain:
            return samples(port, document, records)
        found = list(samples(port, document, records))
        sent = [s.sent for s in found if isinstance(s, Sample) and s.dated and s.sent is not None]
        if sent:
            self._times.newest(port.probe, max(sent), received)
        return found

    def _entry(
        self, topic: str, payload: bytes, received: float, retained: bool
    ) -> Logged | Refusal:
        fields = untwice(json_of(text_of(payload)))
        if retained and not (isinstance(fields, dict) and "id" in fields):
            raise ValueError(
                "a kept (retained) entry without id would be told again at every start; "
                "send it without retain, or with an id"
            )
        subject = topic[len(self.root) + len("/log/") :]
        told = entry_from(fields, subject, self.house, received, "broker", wall=self._wall)
        if isinstance(told, Refusal):
            return msgspec.structs.replace(told, topic=safe(topic), head=head_of(payload))
        return told

    def _no_topic(self, topic: str) -> str:
        readings = f"{self.root}/reading/"
        if not topic.startswith(readings):
            return (
                f"topic {show(topic)} is not one of the house; "
                f"readings go to {readings}<probe>, entries to {self.root}/log/<subject>"
            )
        return no_subject(topic[len(readings) :], self.house, "probe")


class _Wrong:
    """What of one message cannot be taken: the first fault and how many there are, bus error codes
    and everything else apart. So a message, however long, is one row of the journal or two."""

    def __init__(self) -> None:
        self._found: dict[bool, tuple[ValueError, int]] = {}

    def add(self, error: ValueError) -> None:
        wild = isinstance(error, Wild)
        first, count = self._found.get(wild, (error, 0))
        self._found[wild] = first, count + 1

    def refusals(
        self, topic: str, payload: bytes, received: float, probe: str
    ) -> Iterator[Refusal]:
        for first, count in self._found.values():
            refusal = _refusal(topic, payload, received, first, probe)
            if count > 1:
                reason = f"{refusal.reason[:320]} (and {count - 1} more refused)"
                refusal = msgspec.structs.replace(refusal, reason=reason, count=count)
            yield refusal


def _ports(house: House, readings: str) -> dict[str, tuple[Port, ...]]:
    """Ports by topic. A probe with a topic of its own is heard there and nowhere else."""
    grouped: dict[str, list[Probe]] = {}
    for probe in house.probes:
        grouped.setdefault(probe.topic or readings + probe.id, []).append(probe)
    return {
        topic: tuple(port_of(probe, frozenset(other.id for other in probes)) for probe in probes)
        for topic, probes in grouped.items()
    }


def _refusal(
    topic: str, payload: bytes, received: float, wrong: Exception, probe: str | None
) -> Refusal:
    return Refusal(
        topic=safe(topic),
        at=received,
        reason=safe(str(wrong), LONGEST_REASON) or "cannot be read",
        head=head_of(payload),
        probe=probe,
        wild=isinstance(wrong, Wild),
    )
