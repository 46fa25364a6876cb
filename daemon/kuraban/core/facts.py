"""What the watch can come to know. Each is one line of the journal, and nothing else decides.

One is not heard but decided: what became of an entry. It stands here beside the entry that it is
about, is written with it, and is never taken: whoever takes the entry decides anew.

Facts are frozen msgspec structures rather than dataclasses: they cost a tenth to make, and the
journal writes and reads them as JSON without a second description.
"""

from __future__ import annotations

from typing import Literal

import msgspec

from kuraban.core.entries import Entry


class Reading(msgspec.Struct, frozen=True, gc=False, array_like=True):
    """One value of one probe. `value` in °C, % or W; signals are 0 or 1."""

    probe: str
    at: float
    value: float
    received: float
    sent: float | None = None
    """The sender's own time where it differs from `at`, None where it sent none."""
    retained: bool = False
    late: bool = False


class Refusal(msgspec.Struct, frozen=True, gc=False):
    """A message, or one element of it, that could not become a fact."""

    topic: str
    at: float
    reason: str
    head: str
    """The first 256 bytes of the payload, undecodable ones as backslash escapes."""
    probe: str | None = None
    wild: bool = False
    """A bus error code or impossible jump of a known probe rather than a malformed message."""
    count: int = 1
    """How many elements or messages it stands for. The journal adds it to its count; what is read
    back stands for one, and its reason says the number."""

    @property
    def received(self) -> float:
        return self.at


class Logged(msgspec.Struct, frozen=True, gc=False):
    """An entry that somebody made about a place, cooler, probe or the watch."""

    id: str
    subject: str
    entry: Entry
    at: float
    received: float
    by: str | None = None
    way: str = "broker"
    """broker, page, command, link, button or replay."""
    seen: float | None = None
    """Product of the place at `at`, where there was one."""

    @property
    def key(self) -> tuple[str, str]:
        """What makes it one entry: two buttons may count alike."""
        return self.subject, self.id


Fate = Literal[
    "counted", "confirmed", "amended", "waiting", "refused", "taken-back", "repeated",
    "fallen-away",
]  # fmt: skip
"""How an entry stands: it counts (as it was made, confirmed by a second person, or as amended); it
waits for a second person; it does not fit what runs; it was taken back; it said once more what
waited, which thereby counts; it waited, and nobody confirmed it in time."""
COUNTS: frozenset[Fate] = frozenset({"counted", "confirmed", "amended"})


class EntryOutcome(msgspec.Struct, frozen=True, gc=False):
    """What became of an entry, told at every change; the latest one says how it stands.

    An entry of which there is none has not been decided yet: it lies ahead of its own time.
    """

    subject: str
    id: str
    fate: Fate
    received: float
    """When it was decided."""
    cause: tuple[str, str] | None = None
    """Subject and id of the entry by which: the correction, the confirmation."""
    by: str | None = None
    """Who made that one."""
    reason: str = ""
    """Why it was refused, with what would be right."""
    entry: Entry | None = None
    """What it says from now on, where it was amended."""

    @property
    def key(self) -> tuple[str, str]:
        return self.subject, self.id

    @property
    def counts(self) -> bool:
        return self.fate in COUNTS


class HouseChanged(msgspec.Struct, frozen=True):
    """The site file, its courses, rota and calendar as they were read at `received`."""

    received: float
    document: str
    """JSON of `kuraban.core.site.House`; no secrets stand in it."""


class Delivered(msgspec.Struct, frozen=True, gc=False):
    """What became of one message to one person."""

    row: str
    person: str
    at: float
    received: float
    sent: bool
    tries: int = 1
    reason: str = ""


Part = Literal["broker", "journal", "pages", "history", "intake", "watch"]
"""`intake` is behind with what is sent; its reason says `lag=<seconds> most=<probe or topic>`.
`watch` is the watch itself: nobody watched while that held."""


class Impaired(msgspec.Struct, frozen=True, gc=False):
    """A part of the watch itself fails (`holds`), or works again."""

    part: Part
    holds: bool
    received: float
    reason: str = ""


class ClockStepped(msgspec.Struct, frozen=True, gc=False):
    """The wall clock went `by` seconds forward (back, if negative) while other clocks did not."""

    received: float
    by: float
    ahead: float
    """Seconds by which the wall clock is ahead of the watch's time from now on; whole ones, as
    those of `by`."""
    since: float
    """Since when the watch looks on without a break: from then on elapsed time is exact."""
    watched: bool = True
    """False where it stepped while nobody watched, so that nobody knows for how long that was."""


Fact = Reading | Refusal | Logged | HouseChanged | Delivered | Impaired | ClockStepped
Record = Fact | EntryOutcome
"""What a turn leaves in the journal."""
