"""The ladder told a second time: who should have been told of what by when in a random night.

It knows incidents, rings and spells of duty, and nothing of the watch. An incident is what people
would call one thing. A ring begins when something in it needs somebody, and goes on by its rungs
until somebody answers, nothing of it is left, or something worse takes over.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, field
from itertools import count
from typing import Literal, NamedTuple

from kuraban.core.site import Duty, House
from kuraban.core.units import DAY, HOUR, MINUTE
from tests.core.house import DUSK, PEOPLE, brewery, with_rota
from tests.core.rota import WEEK, line_of, present, told_at

Told = tuple[float, str, str, tuple[str, ...]]
"""When, page or notice, to whom, about which alarms."""


class Kind(NamedTuple):
    """One alarm that can be in a random night, as the house rules have it."""

    subject: str
    condition: str
    group: str
    rank: int
    wakes: bool
    role: str
    quick: bool
    product_or_air: bool
    turns_within: float | None
    of_a_probe: bool = False
    """Told two minutes later, together with its neighbours that have the same cause."""


KINDS = (
    Kind("tank-3", "trending-warm", "warm", 0, False, "brewer", False, True, 3 * HOUR),
    Kind("tank-3", "warm", "warm", 1, True, "brewer", False, True, 3 * HOUR),
    Kind("tank-3", "far-warm", "warm", 2, True, "brewer", True, True, 3 * HOUR),
    Kind("tank-3", "cold", "cold", 1, True, "brewer", False, True, 3 * HOUR),
    Kind("tank-3", "overcooling", "cold", 1, True, "brewer", False, True, 3 * HOUR),
    Kind("tank-3", "unwatched", "unwatched", 0, True, "brewer", False, True, None),
    Kind("moto-1", "cold", "cold", 1, True, "brewer", True, True, HOUR),
    Kind("bed-1", "warm", "warm", 1, True, "brewer", True, True, HOUR / 2),
    Kind("bed-1", "far-warm", "warm", 2, True, "brewer", True, True, HOUR / 2),
    Kind("bed-1", "humid", "humid", 0, False, "crew", True, True, None),
    Kind("store", "warm", "warm", 1, True, "maintenance", False, True, 3 * HOUR),
    Kind("chiller-2", "stopped", "cooling", 0, True, "maintenance", False, False, HOUR),
    Kind("chiller-2", "warming", "cooling", 0, True, "maintenance", False, False, HOUR),
    Kind("heater-1", "not-heating", "cooling", 0, True, "maintenance", True, False, HOUR),
    Kind("t4-mid", "silent", "silent", 0, False, "maintenance", False, False, None, True),
    Kind("t3-mid", "wild", "wild", 0, False, "maintenance", False, False, None, True),
)
OF = {(kind.subject, kind.condition): kind for kind in KINDS}
RUNGS = {True: (0, 5, 10, 20), False: (0, 10, 30, 60)}
"""Minutes of the rungs, quick and slow."""


class Event(NamedTuple):
    at: float
    what: Literal["rises", "falls", "answers"]
    subject: str
    condition: str = ""
    who: str = ""


class Script:
    """A random rota and what happens in a random night, all from one number."""

    def __init__(self, seed: int) -> None:
        lots = random.Random(seed)
        self.house = with_rota(brewery(), *_rota(lots))
        self.start = DUSK + lots.uniform(0, 7 * DAY)
        self.end = self.start + 11 * HOUR
        holds: set[tuple[str, str]] = set()
        self.events: list[Event] = []
        busy = lots.choice([4, 10, 40])
        for at in sorted(lots.uniform(self.start, self.end - HOUR) for _ in range(busy)):
            self.events.append(_event(lots, at, holds))


def _event(lots: random.Random, at: float, holds: set[tuple[str, str]]) -> Event:
    fate = lots.random()
    free = [key for key in OF if key not in holds]
    if holds and fate < 0.3:
        subject = lots.choice(sorted(holds))[0]
        return Event(at, "answers", subject, who=lots.choice(PEOPLE).id)
    if not free or (holds and fate < 0.45):
        key = lots.choice(sorted(holds))
        holds.remove(key)
        return Event(at, "falls", *key)
    key = lots.choice(free)
    holds.add(key)
    return Event(at, "rises", *key)


def _rota(lots: random.Random) -> list[Duty]:
    hours = [None, None, (18 * HOUR, 8 * HOUR), (8 * HOUR, 18 * HOUR), (22 * HOUR, 6 * HOUR)]
    return [
        Duty(
            role=lots.choice(["brewer", "brewer", "maintenance", "crew"]),
            person=lots.choice(PEOPLE).id,
            order=order,
            days=tuple(lots.sample(WEEK, lots.choice([0, 0, 4]))),
            hours=lots.choice(hours),
            awake=lots.random() < 0.2,
        )
        for order in lots.sample(range(20), lots.randint(1, 6))
    ]


@dataclass
class Ring:
    """One climb of the ladder, from its start until it is cut."""

    start: float
    quick: bool
    number: int
    told: list[str] = field(default_factory=list)


@dataclass
class Incident:
    members: set[str] = field(default_factory=set)
    ring: Ring | None = None
    told: list[str] = field(default_factory=list)
    wake: bool = False
    lead: Kind | None = None
    """What the messages are about."""

    def look(self, subject: str) -> None:
        """The lead is the gravest of it, among equals the first by name."""
        kinds = [OF[subject, name] for name in sorted(self.members)]
        self.lead = max(kinds, key=lambda kind: kind.rank)


class Model:
    """Takes the events of a night in their order; `until` answers what people were told."""

    def __init__(self, house: House) -> None:
        self.house = house
        self.holding: set[Kind] = set()
        self.unseen: set[Kind] = set()
        self.promises: dict[Kind, float] = {}
        self.hands: dict[Kind, str] = {}
        """Who has what was answered."""
        self.incidents: dict[tuple[str, str], Incident] = {}
        self.numbers = count()
        self.due: list[tuple[float, int, str, object]] = []
        self.out: list[Told] = []
        self.heard: dict[str, list[tuple[float, str]]] = {}
        self.kept: dict[str, list[Kind]] = {}

    def until(self, end: float) -> list[Told]:
        self._run(end)
        return self.out

    def _later(self, at: float, what: str, about: object) -> None:
        self.due.append((at, next(self.numbers), what, about))

    def _run(self, until: float) -> None:
        while self.due and min(self.due)[0] <= until:
            first = min(self.due)
            self.due.remove(first)
            at, _, what, about = first
            getattr(self, f"_{what}")(at, about)

    def take(self, event: Event) -> None:
        self._run(event.at)
        if event.what == "answers":
            self._answered(event)
            return
        kind = OF[event.subject, event.condition]
        if event.what == "rises":
            returned = kind in self.unseen
            self.holding.add(kind)
            self.unseen.add(kind)
            self._needs_somebody(kind, event.at, again=returned)
        else:
            self.holding.discard(kind)
            self.promises.pop(kind, None)
            self._leaves(kind)

    # Incidents.

    def _incident(self, kind: Kind) -> Incident:
        return self.incidents.setdefault((kind.subject, kind.group), Incident())

    def _needs_somebody(self, kind: Kind, at: float, again: bool) -> None:
        incident = self._incident(kind)
        others = incident.members - {kind.condition}
        gravest = max((OF[kind.subject, name].rank for name in incident.members), default=-1)
        graver = kind.rank > gravest or (kind.wakes and not incident.wake)
        incident.members.add(kind.condition)
        if others and not graver and not (again and incident.ring is None):
            self._in_the_same_hands(kind, incident, at)
            return
        incident.look(kind.subject)
        lead = incident.lead or kind
        incident.wake = kind.wakes
        incident.ring = Ring(at, kind.quick, next(self.numbers))
        if kind.wakes:
            self._rung(at, (kind, incident.ring, 0))
        elif kind.of_a_probe:
            for person in self._who_is_up(lead, at):
                incident.told.append(person)
                self._keep(at + 2 * MINUTE, person, lead)
        else:
            self._tell(at, self._who_is_up(lead, at), incident, lead)

    def _in_the_same_hands(self, kind: Kind, incident: Incident, at: float) -> None:
        """Nobody is being told any more and somebody has the rest of it: theirs too, one word."""
        rest = [OF[kind.subject, name] for name in sorted(incident.members)]
        held = [one for one in rest if one in self.holding and one not in self.unseen]
        if incident.ring is not None or not held:
            return
        first = max(held, key=lambda one: one.rank)
        self.unseen.discard(kind)
        self.hands[kind] = self.hands[first]
        until = self.promises.get(first, at)
        if until <= at and kind.turns_within is not None:
            until = at + kind.turns_within
        self.promises[kind] = until
        self._later(until, "unkept", kind)
        if kind.wakes and kind.rank >= max(one.rank for one in rest):
            alarms = (f"{kind.subject}/{kind.condition}",)
            self.out.append((round(at, 3), "notice", self.hands[kind], alarms))

    def _who_is_up(self, kind: Kind, at: float) -> list[str]:
        if 6 * HOUR <= _clock(at) < 21 * HOUR:
            return line_of(self.house, kind.role, at, product_or_air=kind.product_or_air)[:1]
        up = [duty for duty in present(self.house, at) if duty.awake]
        own = [duty.person for duty in up if duty.role == kind.role]
        return (own or [duty.person for duty in up if kind.product_or_air])[:1]

    def _rung(self, at: float, about: object) -> None:
        kind, ring, rung = about  # type: ignore[misc]
        incident = self.incidents.get((kind.subject, kind.group))
        if incident is None or incident.ring is not ring:
            return
        lead = incident.lead or kind
        who = told_at(
            self.house, lead.role, at, rung, ring.told, product_or_air=lead.product_or_air
        )
        self._tell(at, who, incident, lead, rung)
        if rung < 3:
            later = ring.start + MINUTE * RUNGS[ring.quick][rung + 1]
            self._later(later, "rung", (kind, ring, rung + 1))

    def _leaves(self, kind: Kind) -> None:
        incident = self._incident(kind)
        incident.members.discard(kind.condition)
        if not incident.members:
            del self.incidents[kind.subject, kind.group]
            return
        if incident.lead == kind:
            incident.look(kind.subject)
        if incident.wake and not any(OF[kind.subject, m].wakes for m in incident.members):
            incident.ring, incident.wake = None, False

    # Answers.

    def _answered(self, event: Event) -> None:
        taken = [kind for kind in KINDS if kind.subject == event.subject and kind in self.unseen]
        for kind in sorted(taken, key=lambda kind: (-kind.rank, kind.condition)):
            self.unseen.discard(kind)
            if kind not in self.holding:
                continue
            self.hands[kind] = event.who
            if kind.turns_within is not None:
                self.promises[kind] = event.at + kind.turns_within
                self._later(event.at + kind.turns_within, "unkept", kind)
            self._has_it(kind, event)

    def _has_it(self, kind: Kind, event: Event) -> None:
        incident = self._incident(kind)
        if incident.ring is None:
            return
        incident.ring = None
        for person in incident.told:
            if person != event.who:
                alarms = (f"{kind.subject}/{kind.condition}",)
                self.out.append((round(event.at, 3), "notice", person, alarms))

    def _unkept(self, at: float, about: object) -> None:
        kind: Kind = about  # type: ignore[assignment]
        if self.promises.get(kind) == at and kind not in self.unseen:
            del self.promises[kind]
            self.unseen.add(kind)
            self._needs_somebody(kind, at, again=True)

    # Telling: six within an hour singly, then what is not newly past its limit together, if the
    # rings are about three things or more.

    def _tell(
        self, at: float, who: list[str], incident: Incident, lead: Kind, rung: int = 0
    ) -> None:
        for person in who:
            if person not in incident.told:
                incident.told.append(person)
            if incident.ring is not None:
                incident.ring.told.append(person)
            alarm = f"{lead.subject}/{lead.condition}"
            heard = self.heard.setdefault(person, [])
            recent = [(when, what) for when, what in heard[-6:] if when > at - HOUR]
            things = {what for _, what in recent} | {alarm}
            newly_far = rung == 0 and lead.condition.startswith("far-")
            if len(recent) < 6 or len(things) < 3 or newly_far:
                heard.append((at, alarm))
                self.out.append((round(at, 3), "page", person, (alarm,)))
                continue
            self._keep(at + 5 * MINUTE, person, lead)

    def _keep(self, until: float, person: str, lead: Kind) -> None:
        if not self.kept.setdefault(person, []):
            self._later(until, "together", person)
        self.kept[person].append(lead)

    def _together(self, at: float, about: object) -> None:
        person = str(about)
        kept = [kind for kind in dict.fromkeys(self.kept.pop(person))
                if kind in self.holding and kind in self.unseen]  # fmt: skip
        if kept:
            alarms = tuple(f"{kind.subject}/{kind.condition}" for kind in kept)
            self.out.append((round(at, 3), "page", person, alarms))


def _clock(at: float) -> float:
    """Seconds after midnight in Japan, nine hours ahead of Greenwich the year round."""
    return (at + 9 * HOUR) % DAY
