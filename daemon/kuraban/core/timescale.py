"""The house's time zone upon the watch's own time, and what a step of the wall clock does to it.

Decision. Every time inside the watch, in the journal and in the engine alike, is the watch's own:
Unix seconds at the first start, and elapsed seconds from then on. It never goes back and never
jumps while the watch looks on, so delays, ladders, masks and promises run as they must, whatever
the wall clock does. The wall clock is what people see. How far it is ahead of the watch's time is a
fact of the journal (`kuraban.core.facts.ClockStepped`), and the house carries it: `House.zone` is
the plain zone while the clock never stepped, and else a `Timescale`. Whoever turns a time into what
a person or another program reads does so through that zone, as before (`fromtimestamp`,
`show_time`, `at_clock`, `next_clock`, `within_hours`, a message's words); whoever reads such a time
brings it back with `moment_of`. Nobody else needs to know of steps.

A step gives every moment since the watch began to look on another name, not those after it alone:
since then elapsed time is exact, so 02:40 by the clock as it stands now is right for what was
called 01:40 an hour ago, and the hours between two times that stand side by side are true. What was
before stays as it was called, since across a time in which nobody watched only the wall clock
counted. So a scale has a new piece only where the watch was away, and at most one for each start.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import datetime, timedelta, tzinfo
from math import floor, inf
from typing import Any, NamedTuple, Protocol

EPOCH = datetime(1970, 1, 1)
A_MOMENT = 1e8
"""A float beyond this, Unix seconds of 1973, is a moment: no other quantity comes near."""


class Piece(NamedTuple):
    """From `since` on, by the watch's time, the wall clock is `ahead` of it, whole seconds."""

    since: float
    ahead: float


Pieces = tuple[Piece, ...]
"""In the order of their times; before the first the two are one."""
_FIRST = Piece(-inf, 0.0)


class Stretch(NamedTuple):
    """In [start, end) of the watch's time the wall clock is `ahead` of it."""

    start: float
    end: float
    ahead: float


class Stepped(Protocol):
    """What a scale needs to know of a step."""

    @property
    def since(self) -> float: ...
    @property
    def ahead(self) -> float: ...


def redated(pieces: Pieces, step: Stepped) -> Pieces:
    """The pieces after a step: all since the watch looks on is called by the clock as it is now."""
    kept = tuple(piece for piece in pieces if piece.since < step.since)
    before = kept[-1].ahead if kept else 0.0
    return kept if step.ahead == before else (*kept, Piece(step.since, step.ahead))


def pieces_of(steps: Iterable[Stepped]) -> Pieces:
    """The pieces that all steps of a journal leave, oldest step first."""
    pieces: Pieces = ()
    for step in steps:
        pieces = redated(pieces, step)
    return pieces


class Timescale(tzinfo):
    """A zone that takes the watch's time in `fromtimestamp` and gives the wall clock's.

    What it gives bears the plain zone, so its `timestamp` is the wall clock's too. A piece begins
    with the millisecond that holds its `since`: whoever names that moment keeps no more of it, and
    named by the clock before, the next six o'clock would lie behind it.
    """

    def __init__(self, zone: tzinfo, pieces: Pieces) -> None:
        self.plain = zone
        self.pieces = tuple(Piece(floor(since * 1000) / 1000, ahead) for since, ahead in pieces)

    def ahead(self, at: float) -> float:
        """Seconds by which the wall clock is ahead of the watch's time at a moment."""
        found = 0.0
        for since, ahead in self.pieces:
            if at < since:
                break
            found = ahead
        return found

    def moment(self, wall: float, latest: float = inf) -> float:
        """The watch's moment that the wall clock calls so: the last one up to `latest`.

        What it never showed, since it was put forward over that, is where it was put forward.
        """
        until, above, skipped = inf, False, latest
        for since, ahead in reversed((_FIRST, *self.pieces)):
            at = wall - ahead
            if since <= latest:
                if since <= at < until and at <= latest:
                    return at
                if above and at >= until:
                    skipped, above = until, False
                else:
                    above = at < since and skipped == latest
            until = since
        return skipped

    def stretches(self, at: float) -> Iterator[Stretch]:
        """From a moment on, over which stretches of time the wall clock is how far ahead."""
        pieces = (_FIRST, *self.pieces)
        for number, (since, ahead) in enumerate(pieces, 1):
            until = pieces[number].since if number < len(pieces) else inf
            if at < until:
                yield Stretch(max(at, since), until, ahead)

    def fromutc(self, moment: datetime) -> datetime:
        at = (moment.replace(tzinfo=None) - EPOCH).total_seconds()
        wall = moment + timedelta(seconds=self.ahead(at))
        return self.plain.fromutc(wall.replace(tzinfo=self.plain))

    def utcoffset(self, moment: datetime | None) -> timedelta | None:
        return self.plain.utcoffset(_in(self.plain, moment))

    def dst(self, moment: datetime | None) -> timedelta | None:
        return self.plain.dst(_in(self.plain, moment))

    def tzname(self, moment: datetime | None) -> str | None:
        return self.plain.tzname(_in(self.plain, moment))


def _in(zone: tzinfo, moment: datetime | None) -> datetime | None:
    return None if moment is None else moment.replace(tzinfo=zone)


def plain_of(zone: tzinfo) -> tzinfo:
    """The zone itself, without what the clock did."""
    return zone.plain if isinstance(zone, Timescale) else zone


def wall_of(at: float, zone: tzinfo) -> float:
    """What the wall clock shows at a moment of the watch's time, Unix seconds."""
    return at + zone.ahead(at) if isinstance(zone, Timescale) else at


def moment_of(wall: float, zone: tzinfo, latest: float = inf) -> float:
    """The moment of the watch's time at which the wall clock shows that.

    Where it showed it twice, the last time up to `latest`.
    """
    return zone.moment(wall, latest) if isinstance(zone, Timescale) else wall


def stretches_of(at: float, zone: tzinfo) -> Iterator[Stretch]:
    """From a moment on, over which stretches of time the wall clock is how far ahead."""
    if isinstance(zone, Timescale):
        yield from zone.stretches(at)
    else:
        yield Stretch(at, inf, 0.0)


def by_the_wall(told: Any, zone: tzinfo) -> Any:
    """Plain values for another program, with every moment in them as the wall clock tells it."""
    if not isinstance(zone, Timescale):
        return told
    if isinstance(told, float):
        return wall_of(told, zone) if told > A_MOMENT else told
    if isinstance(told, dict):
        return {name: by_the_wall(value, zone) for name, value in told.items()}
    if isinstance(told, (list, tuple)):
        return [by_the_wall(value, zone) for value in told]
    return told
