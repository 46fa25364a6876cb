"""A season in little as a list of what happens: made from a seed, kept as JSON, made shorter."""

from __future__ import annotations

from collections.abc import Callable
from random import Random

import msgspec

SCHEMAS, UPGRADED = (4, 5), 20
"""The last two before this one, and of how many seasons one begins with a journal of them."""
PEOPLE = ("aki", "bun", "cho", "dai", "ken")
TANKS = ("tank-1", "tank-2", "tank-3")
PLACES = (*TANKS, "bed-1", "store")
PROBES = ("t1-mid", "t2-mid", "t3-mid", "b1-mid", "s-air")
MANGLED = (
    "warm", "NaN", '{"value": "x"}', "[]", "{", '{"value": 1e99}', "85.0", "-127", "\u00e9\u00e9",
    '[{"n":"other","v":3}]', "x" * 300,
)  # fmt: skip


class Event(msgspec.Struct, frozen=True, omit_defaults=True):
    """One thing that happens `at` so many hours after the start; what it needs beside that."""

    at: float
    do: str
    where: str = ""
    """Place, probe, person or subject."""
    what: str = ""
    lasts: float = 0.0
    """Hours."""
    rate: float = 0.0
    height: float = 0.0
    number: int = 0
    entry: dict[str, object] = {}
    flag: bool = False


class Script(msgspec.Struct, frozen=True):
    seed: int
    hours: float
    rota: str
    turn: float
    answers: float
    """How many of a hundred rings somebody answers."""
    events: tuple[Event, ...]
    late: float = 30.0
    """Seconds by which the watch's loop may be late while no message comes."""
    links: float = 0.0
    """How many of a hundred messages somebody answers by the link in it."""
    schema: int = 0
    """Of the journal that an earlier version left, which the watch starts from; 0 for none."""
    about: str = ""

    def without(self, events: tuple[Event, ...]) -> Script:
        return msgspec.structs.replace(self, events=events)


def script_of(seed: int) -> Script:
    chance = Random(seed)
    hours = chance.choice((6.0, 6.0, 8.0, 8.0, 10.0, 13.0, 18.0, 30.0))
    events = [*_batches(chance), *_drifts(chance, hours), *_faults(chance, hours)]
    events += _people(chance, hours)
    return Script(
        seed=seed, hours=hours, rota=chance.choice(("always", "shifts", "night")),
        turn=chance.choice((0.0, 0.0, 2.0)), late=chance.choice((20.0, 80.0, 80.0, 80.0)),
        answers=chance.choice((0.0, 0.3, 0.7)),
        events=tuple(sorted(events, key=lambda event: event.at)),
        schema=chance.choice(SCHEMAS) if seed % UPGRADED == UPGRADED - 1 else 0,
        links=chance.choice((0.0, 0.2, 0.5)),
    )  # fmt: skip


def _r(value: float) -> float:
    return round(value, 4)


def _batches(chance: Random) -> list[Event]:
    started = [
        Event(_r(0.05 + 0.01 * n), "entry", place, entry={
            "entry": "batch-start", "batch": f"No. {n + 1}", "course": "mash", "stage": "main",
            "by": "aki"})
        for n, place in enumerate(TANKS)
    ]  # fmt: skip
    started.append(Event(0.09, "entry", "bed-1", entry={
        "entry": "batch-start", "batch": "K-1", "course": "koji", "by": "dai"}))  # fmt: skip
    return [event for event in started if chance.random() < 0.9]


def _drifts(chance: Random, hours: float) -> list[Event]:
    found = []
    for place in PLACES:
        if chance.random() < 0.5:
            sign = 1 if chance.random() < 0.7 else -1
            height = chance.uniform(0.8, 2.5) * {"bed-1": 1.8, "store": 2.5}.get(place, 1.0)
            found.append(
                Event(
                    _r(chance.uniform(1.0, max(hours - 6.0, 2.0))), "drift", place,
                    rate=_r(chance.uniform(0.4, 2.5)), height=_r(sign * height),
                    lasts=_r(chance.uniform(3.0, 10.0)),
                )
            )  # fmt: skip
    return found


def _faults(chance: Random, hours: float) -> list[Event]:
    """Of the machine, its disk and clock, the broker, probes and phones."""
    made: list[Event] = []

    def when() -> float:
        return _r(chance.uniform(0.2, hours - 0.5))

    def add(likely: float, most: int, make: Callable[[], Event]) -> None:
        made.extend(make() for _ in range(most) if chance.random() < likely)

    add(0.6, 3, lambda: Event(
        when(), "kill", number=chance.choice((0, 1, 3, 7, 20, 60, 200)),
        lasts=_r(chance.choice((0.002, 0.01, 0.1, 0.5, 2.0))), flag=chance.random() < 0.4,
        what=chance.choice(("", "", "", "upgrade"))))  # fmt: skip
    add(0.4, 1, lambda: Event(when(), "kill", "ring", lasts=_r(chance.choice((0.002, 0.1)))))
    add(0.4, 1, lambda: Event(when(), "restart", lasts=_r(chance.choice((0.003, 0.2, 1.5)))))
    add(0.4, 2, lambda: Event(when(), "drop"))
    add(0.3, 2, lambda: Event(when(), "broker-down", lasts=_r(chance.uniform(0.01, 0.8))))
    add(0.15, 1, lambda: Event(when(), "broker-empty"))
    add(0.3, 2, lambda: Event(when(), "shuffle", lasts=_r(chance.uniform(0.05, 0.3))))
    add(0.3, 2, lambda: Event(
        when(), "disk", what=chance.choice(("full", "readonly", "io")),
        lasts=_r(chance.uniform(0.01, 1.5))))  # fmt: skip
    add(0.25, 2, lambda: Event(
        when(), "clock", number=chance.choice((-3600, -9 * 3600, 3600, 9 * 3600, -3 * 86400, 7)),
        lasts=_r(chance.choice((0.2, 3.0, 50.0)))))  # fmt: skip
    add(0.25, 2, lambda: Event(when(), "sleep", lasts=_r(chance.choice((0.02, 0.3, 2.0)))))
    add(0.6, 4, lambda: Event(
        when(), "phone", chance.choice(PEOPLE), chance.choice(("refuses", "hangs", "slow", "liar")),
        lasts=_r(chance.choice((0.05, 1.0, 6.0, 50.0)))))  # fmt: skip
    add(0.4, 3, lambda: Event(when(), "silent", chance.choice(PROBES), lasts=_r(
        chance.choice((0.2, 1.0, 4.0)))))  # fmt: skip
    add(0.3, 2, lambda: Event(
        when(), "backlog", chance.choice(PROBES), lasts=_r(chance.uniform(0.2, 3.0))))  # fmt: skip
    add(0.3, 2, lambda: Event(when(), "mangled", chance.choice(PROBES), chance.choice(MANGLED)))
    add(0.4, 3, lambda: Event(when(), "twice", chance.choice(PROBES)))
    add(0.2, 1, lambda: Event(when(), "skew", chance.choice(PROBES), number=chance.choice(
        (-200, -20, 20, 200))))  # fmt: skip
    return made


def _people(chance: Random, hours: float) -> list[Event]:
    """Work that is logged, late or twice or wrongly, taken back, amended, answered."""
    made: list[Event] = []
    for number in range(chance.randrange(0, 9)):
        at, place = chance.uniform(0.3, hours - 0.3), chance.choice(PLACES)
        entry = dict(chance.choice(WORK))
        entry |= {"id": f"w{number}", "by": chance.choice(PEOPLE)}
        late = chance.choice((0.0, 0.0, 0.1, 1.0))
        if chance.random() < 0.15 and number:
            entry = {"entry": "take-back", "id": f"w{number}", "of": f"w{number - 1}", "by": "aki"}
            place = made[-1].where
        twice = 1 if chance.random() < 0.25 else 0
        made.append(Event(
            _r(at), "entry", place, what=chance.choice(("", "", "page")), entry=entry,
            lasts=_r(late), number=twice,
        ))  # fmt: skip
    return made


WORK: tuple[dict[str, object], ...] = (
    {"entry": "stir"}, {"entry": "stir", "for": "20m"}, {"entry": "check", "celsius": 10.1},
    {"entry": "addition", "what": "ice", "kg": 10}, {"entry": "acknowledge"},
    {"entry": "acknowledge", "for": "1h"}, {"entry": "acknowledge", "for": "30m"},
    {"entry": "shelve", "condition": "warm", "for": "1h"},
    {"entry": "shelve", "condition": "far-warm", "for": "2h"},
    {"entry": "unshelve", "condition": "warm"}, {"entry": "let-run", "for": "2h", "more": 0.5},
    {"entry": "out-of-service"}, {"entry": "in-service"}, {"entry": "note", "text": "frost"},
    {"entry": "probe-out"}, {"entry": "batch-end"}, {"entry": "hold", "for": "1d"},
    {"entry": "stage", "stage": "nowhere"}, {"entry": "nonsense"},
    {"entry": "aim", "celsius": 10.4, "by": 1.0},
)  # fmt: skip
