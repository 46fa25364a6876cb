"""Messages that wait to be judged: bounded in bytes, fair between topics, cut where one floods.

While everything that waits fits into one turn it is handed out as it came, and so it is where no
line (a topic of the house; all unknown topics together are one) has much more than the others: a
backlog is caught up with in its order. Else each line is given the same share of the turn: those
that ask for less are handed out whole and first, and only what a noisy one has beyond its share is
left for later, which means to look through all that waits. Within a line the order always holds.

A queue that is full is the network thread's to wait at, since the broker keeps what we do not take.
That is right for what waited while the watch was away, and wrong for a flood: everybody would wait
behind it. So where the watch had caught up, and is full again soon after it was given room, the
longest lines are cut to what leaves half of the queue free; where it has not caught up yet, those
that brought more than a probe can have to say of the time. They lose their oldest messages; what is
lost is counted, and is answered to the broker like everything else once the count is written.

A message counts `WEIGHT` bytes besides its payload, about what it takes in memory.
"""

from __future__ import annotations

import time
from array import array
from collections import Counter, deque
from collections.abc import Callable, Iterable
from threading import Lock
from typing import Final, NamedTuple

WEIGHT: Final = 512
MESSAGES: Final = 20_000
BYTES: Final = 8 * 2**20
TURN: Final = 2**18
"""Bytes of a turn: 512 plain readings, or one message of the greatest length."""
HEAD: Final = 256
"""Bytes that are kept of a message that is let go."""
LEVEL_FOR: Final = 5.0
"""So long, seconds, the queue of a new link must be nearly empty: then the watch has caught up."""
SAMPLED_EVERY: Final = 0.5
"""Seconds between two messages that are judged of a line that is being cut."""
KEPT_AT_ONCE, KEPT_A_SECOND = 16 * 2**20, 1024
"""Bytes that one line may bring on a new link, and for each second that we were away: two plain
readings a second."""
EVEN: Final = 8
"""A line is noisy with more than so many times what three in four lines have at least."""
PRESSED_FOR: Final = 10.0
"""So soon after it had to wait for room, seconds, a full queue is a flood."""


class Arrived(NamedTuple):
    """One message as it came. `received` is elapsed time; `link`, `mid`, `qos` serve the answer."""

    topic: str
    payload: bytes
    received: float
    retained: bool
    link: int
    mid: int
    qos: int
    size: int = 0
    """Bytes of the payload where only its beginning was kept, else 0."""


class Cut:
    """What one line lost since it was asked last."""

    __slots__ = ("count", "head", "line", "mids", "received", "size", "topic")

    def __init__(self, line: str) -> None:
        self.line, self.topic, self.head = line, line, b""
        self.count = self.size = 0
        self.received = 0.0
        self.mids: dict[int, array[int]] = {}
        """Numbers of the messages that the broker waits to hear of, by link."""

    def add(self, lost: Arrived) -> None:
        self.count += 1
        self.size += lost.size or len(lost.payload)
        self.topic, self.head, self.received = lost.topic, lost.payload[:HEAD], lost.received
        if lost.qos:
            self.mids.setdefault(lost.link, array("H")).append(lost.mid)


class Backlog(NamedTuple):
    """What waits. `oldest` is when its first message came, `most` the line with most bytes."""

    messages: int
    size: int
    oldest: float
    most: str


class FairQueue:
    """`put`, `full`, `pressed` and `cut` are the network thread's, the rest is the watch loop's.

    `line_of` names the line of a topic.
    """

    def __init__(
        self, line_of: Callable[[str], str], messages: int = MESSAGES, size: int = BYTES
    ) -> None:
        self.messages, self.size = messages, size
        self._line_of = line_of
        self._queue: deque[Arrived] = deque()
        self._lock = Lock()
        self._came = self._gone = 0
        """Bytes that were put in, and that left; each is written in one thread, or under lock."""
        self._came_of: Counter[str] = Counter()
        self._gone_of: Counter[str] = Counter()
        """The same of each line."""
        self.left = False
        """Whether the last `take` left something."""
        self._cuts: dict[str, Cut] = {}
        self._lost: Counter[str] = Counter()
        """Bytes that each line lost of late."""
        self._sampled: dict[str, float] = {}
        """When a message of such a line was taken last."""
        self._level_since: float | None = None
        self._caught_up = False
        self._brought: Counter[str] = Counter()
        """Bytes of each line on this link, until the watch has caught up."""
        self._most = KEPT_AT_ONCE
        self.away = 0.0
        """For how long, seconds, nobody had taken anything before the first link."""
        self._ended: float | None = None
        self._waited = float("-inf")

    def __len__(self) -> int:
        return len(self._queue)

    @property
    def bytes(self) -> int:
        return self._came - self._gone

    # In the network thread.

    def begin(self) -> None:
        """A new link: what the broker kept comes first, and is waited for."""
        away = self.away if self._ended is None else time.monotonic() - self._ended
        self._caught_up, self._level_since = False, None
        self._brought.clear()
        self._most = KEPT_AT_ONCE + int(away * KEPT_A_SECOND)

    def ended(self) -> None:
        """The link is lost, and the broker keeps what comes."""
        self._ended = time.monotonic()

    def put(self, one: Arrived) -> None:
        line, weight = self._line_of(one.topic), _weight(one)
        self._came_of[line] += weight
        self._came += weight
        self._queue.append(one)
        if not self._caught_up:
            self._brought[line] += weight

    @property
    def full(self) -> bool:
        return len(self._queue) >= self.messages or self._came - self._gone >= self.size

    def pressed(self) -> bool:
        """Whether a full queue is a flood and no backlog."""
        if self._caught_up:
            return time.monotonic() - self._waited < PRESSED_FOR
        return bool(self._beyond())

    def _beyond(self) -> set[str]:
        """Lines that have brought too much to be what waited for us."""
        return {line for line, weight in self._brought.items() if weight > self._most}

    def waited(self) -> None:
        """The queue was full, and room came."""
        self._waited = time.monotonic()

    def cut(self) -> None:
        """The longest lines lose their oldest messages, until half of the queue is free."""
        with self._lock:
            waiting = self._all()
            lines = [self._line_of(one.topic) for one in waiting]
            held, counts = _weights(waiting, lines), Counter(lines)
            share = _level(held.values(), self.size // 2)
            most = _level(counts.values(), self.messages // 2)
            may = held.keys() if self._caught_up else self._beyond()
            kept: list[Arrived] = []
            for one, line in zip(waiting, lines, strict=True):
                if line not in may or (held[line] <= share and counts[line] <= most):
                    kept.append(one)
                    continue
                held[line] -= _weight(one)
                counts[line] -= 1
                self._let_go(one, line)
            self._queue.extendleft(reversed(kept))
            self._waited = time.monotonic()

    def _let_go(self, one: Arrived, line: str) -> None:
        self._gone += _weight(one)
        self._gone_of[line] += _weight(one)
        self._lost[line] += _weight(one)
        self._cuts.setdefault(line, Cut(line)).add(one)

    # In the watch's loop.

    def take(self, most: int) -> list[Arrived]:
        """At most `most` messages and a turn's bytes: as they came, or the quiet lines first."""
        queue = self._queue
        with self._lock:
            self._look()
            if len(queue) <= most and self.bytes <= TURN and not self._lost:
                taken, self.left = [queue.popleft() for _ in range(len(queue))], False
            elif self._even():
                taken = self._in_order(most)
            else:
                taken = self._fairly(most)
            for one in taken:
                self._gone_of[self._line_of(one.topic)] += _weight(one)
            self._gone += sum(map(len, [one.payload for one in taken])) + WEIGHT * len(taken)
        return taken

    def _even(self) -> bool:
        """Whether no line has much more waiting than the others, and none was cut of late."""
        came, gone = self._came_of.copy(), self._gone_of
        held = sorted(weight - gone[line] for line, weight in came.items() if weight > gone[line])
        return not self._lost and bool(held) and held[-1] <= EVEN * held[len(held) // 4]

    def _in_order(self, most: int) -> list[Arrived]:
        """The first that fit into a turn, one at least."""
        queue, room = self._queue, TURN
        taken: list[Arrived] = []
        while queue and len(taken) < most and (room >= _weight(queue[0]) or not taken):
            taken.append(queue.popleft())
            room -= _weight(taken[-1])
        self.left = bool(queue)
        return taken

    def _look(self) -> None:
        """Whether the watch has caught up on this link; what was lost before that is forgotten."""
        now = time.monotonic()
        if len(self._queue) > self.messages // 8 or self.bytes > self.size // 8:
            self._level_since = None
        elif self._level_since is None:
            self._level_since = now
        elif now - self._level_since > LEVEL_FOR:
            self._caught_up = True
            self._lost.clear()

    def _fairly(self, most: int) -> list[Arrived]:
        waiting = self._all()
        lines = [self._line_of(one.topic) for one in waiting]
        held = _weights(waiting, lines)
        share = _level(held.values(), min(TURN, most * WEIGHT))
        room = {line: share for line, weight in held.items() if weight > share}
        room |= self._samples(held)
        quiet = [one for one, line in zip(waiting, lines, strict=True) if line not in room]
        noisy: list[Arrived] = []
        left: list[Arrived] = []
        for one, line in zip(waiting, lines, strict=True):
            if line not in room:
                continue
            if room[line] > 0 and len(quiet) + len(noisy) < most:
                room[line] -= _weight(one)
                noisy.append(one)
            else:
                room[line] = 0
                left.append(one)
        self._queue.extendleft(reversed(left))
        self.left = bool(left)
        return quiet + noisy

    def _samples(self, held: Counter[str]) -> dict[str, int]:
        """Lines that were cut of late are looked into now and then: a message each."""
        now, found = time.monotonic(), {}
        for line in self._lost.keys() & held.keys():
            due = now - self._sampled.get(line, float("-inf")) > SAMPLED_EVERY
            self._sampled[line] = now if due else self._sampled[line]
            found[line] = int(due)
        return found

    def give_back(self, rest: Iterable[Arrived]) -> None:
        """What was taken and could not be judged in its turn, in the order it was handed out."""
        back = [*rest]
        with self._lock:
            self.left = self.left or bool(back)
            self._queue.extendleft(reversed(back))
            self._gone -= sum(map(_weight, back))
            for one in back:
                self._gone_of[self._line_of(one.topic)] -= _weight(one)

    def cuts(self) -> list[Cut]:
        """What each line lost since this was asked last."""
        if not self._cuts:
            return []
        with self._lock:
            found, self._cuts = [*self._cuts.values()], {}
        return found

    def backlog(self) -> Backlog | None:
        """What waits now; None where nothing does and nothing was lost of late."""
        with self._lock:
            waiting = [*self._queue]
        most = self._lost + _weights(waiting, [self._line_of(one.topic) for one in waiting])
        if not most:
            return None
        oldest = min((one.received for one in waiting), default=float("inf"))
        return Backlog(len(waiting), self.bytes, oldest, most.most_common(1)[0][0])

    def _all(self) -> list[Arrived]:
        """Everything that waits, taken out. What is put in meanwhile stays behind it."""
        return [self._queue.popleft() for _ in range(len(self._queue))]


def _weight(one: Arrived) -> int:
    return len(one.payload) + WEIGHT


def _weights(waiting: list[Arrived], lines: list[str]) -> Counter[str]:
    held: Counter[str] = Counter()
    for one, line in zip(waiting, lines, strict=True):
        held[line] += len(one.payload) + WEIGHT
    return held


def _level(wanted: Iterable[int], room: int) -> int:
    """The greatest share at which all together, none above its want, take no more than `room`."""
    ordered = sorted(wanted)
    for count, want in enumerate(ordered):
        share = room // (len(ordered) - count)
        if want > share:
            return share
        room -= want
    return ordered[-1] if ordered else room
