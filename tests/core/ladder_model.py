"""The ladder told a second time: who should have been told of what by when in a random night.

It knows incidents, rings and spells of duty, and nothing of the watch. An incident is what people
would call one thing. A ring begins when something in it needs somebody, and goes on by its rungs
until somebody answers or nothing of it is left; what gets a rank worse on the way is told at once
to whoever was told of the ring. After its last rung it goes on once an hour, together with all that
was left unanswered by the same people, and what is worse by then begins there. What is shelved
needs nobody until its shelf is over.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from itertools import count

from kuraban.core.site import House
from kuraban.core.units import DAY, HOUR, MINUTE
from tests.core.night_kinds import KINDS, OF, Kind, ranked
from tests.core.rota import Swap, line_of, present, told_at

Told = tuple[float, str, str, tuple[str, ...]]
"""When, page or notice, to whom, about which alarms."""
WORSE, TURNED = 0.3, 0.15
"""K by which what nobody brews in gets worse, and turns toward what is right."""


RUNGS = {True: (0, 5, 10, 20), False: (0, 10, 30, 60)}
"""Minutes of the rungs, quick and slow."""


@dataclass
class Ring:
    """One climb of the ladder, from its start until it is cut."""

    start: float
    quick: bool
    number: int
    rung: int = 0
    told: list[str] = field(default_factory=list)


@dataclass
class Incident:
    members: set[str] = field(default_factory=set)
    ring: Ring | None = None
    told: list[str] = field(default_factory=list)
    wake: bool = False
    lead: Kind | None = None
    """What the messages are about."""
    follows: Incident | None = None
    """At the end of the ladders: what tells the same people of this one too."""

    def look(self, subject: str) -> None:
        """The lead is the gravest of it, among equals the first by name."""
        self.lead = ranked(subject, self.members)[0]

    def tell(self, person: str) -> None:
        if person not in self.told:
            self.told.append(person)
        if self.ring is not None:
            self.ring.told.append(person)


def _rank(incident: Incident) -> int:
    return -1 if incident.lead is None else incident.lead.rank


@dataclass
class Shelf:
    until: float
    once: bool


class Model:
    """Told what happens in a night, in its order; `out` is what people were told by then."""

    def __init__(self, house: House) -> None:
        self.house = house
        self.swaps: list[Swap] = []
        self.holding: set[Kind] = set()
        self.unseen: set[Kind] = set()
        self.shelves: dict[Kind, Shelf] = {}
        self.worse: dict[Kind, float | None] = {}
        """How bad each was when it was heard of last, None where nobody knows."""
        self.worse_when_taken: dict[Kind, float | None] = {}
        self.promises: dict[Kind, float] = {}
        self.hands: dict[Kind, str] = {}
        """Who has what was answered."""
        self.incidents: dict[tuple[str, str], Incident] = {}
        self.numbers = count()
        self.due: list[tuple[float, int, Callable[[float], None]]] = []
        self.out: list[Told] = []
        self.heard: dict[str, list[tuple[float, str]]] = {}
        self.kept: dict[str, list[Kind]] = {}

    # What happens.

    def until(self, end: float) -> list[Told]:
        """Let the time pass."""
        while self.due and min(self.due)[0] <= end:
            first = min(self.due)
            self.due.remove(first)
            first[2](first[0])
        return self.out

    def rises(self, at: float, kind: Kind, worse: float | None = None) -> None:
        """Its condition begins to hold, or it is heard how bad it is by now."""
        self.worse[kind] = worse
        if kind in self.holding:
            self._gets_worse(at, kind)
            return
        self.holding.add(kind)
        if kind not in self.shelves:
            returned = kind in self.unseen
            self.unseen.add(kind)
            self._needs_somebody(kind, at, again=returned)

    def falls(self, at: float, kind: Kind) -> None:
        if kind not in self.holding:
            return
        self.holding.discard(kind)
        if kind in self.shelves:
            if self.shelves[kind].once:
                del self.shelves[kind]
        else:
            self._leaves(at, kind)

    def shelved(self, at: float, kind: Kind, until: float, once: bool) -> None:
        shelf = self.shelves[kind] = Shelf(until, once)
        self.unseen.discard(kind)
        self._leaves(at, kind)
        self._later(until, lambda at: self._shelf_over(at, kind, shelf))

    def unshelved(self, at: float, kind: Kind) -> None:
        if kind in self.shelves:
            self._shelf_over(at, kind, self.shelves[kind])

    def swapped(self, swap: Swap) -> None:
        self.swaps.append(swap)

    def unreached(self, at: float, page: Told) -> None:
        """No service of that person took that page: whoever was not told of the ring is next."""
        found: list[tuple[Incident, Kind]] = []
        for alarm in page[3]:
            subject, _, name = alarm.partition("/")
            incident = self.incidents.get((subject, OF[subject, name].group))
            if incident is not None and incident.ring is not None:
                leader = incident.follows or incident
                if all(one is not leader for one, _ in found):
                    found.append((leader, OF[subject, name]))
        for incident, kind in found:
            if incident.ring is None or page[0] < round(incident.ring.start, 3):
                continue
            lead = incident.lead or kind
            line = self._told_at(lead, at, 3, incident.ring)
            fresh = [who for who in line if who not in incident.ring.told]
            self._tell(at, fresh[:1], incident, lead, incident.ring.rung, waited=True)

    def answers(
        self, at: float, subject: str, condition: str | None, who: str, within: float | None = None
    ) -> None:
        """Somebody has it in hand: all of a subject, or one incident of it."""
        if condition is None:
            self._answered(at, self._on_list(subject), who, within)
            return
        kind = OF[subject, condition]
        incident = self.incidents.get((subject, kind.group))
        together = [kind] if incident is None else ranked(subject, incident.members)
        for one in together:
            self._answered(at, [one], who, within)

    # Incidents.

    def _later(self, at: float, what: Callable[[float], None]) -> None:
        self.due.append((at, next(self.numbers), what))

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
        lead, rang, ring = incident.lead or kind, incident.wake, incident.ring
        incident.wake = kind.wakes
        if kind.wakes and rang and ring and ring.told and ring.rung <= 3 and not incident.follows:
            self._climbs_on(at, kind, incident, ring)
            return
        before = incident.ring and (incident.follows or incident).ring
        incident.follows = None
        incident.ring = ring = Ring(at, kind.quick, next(self.numbers))
        if kind.wakes:
            self._climb(at, kind, ring, 4 if before and before.rung > 3 else 0)
        elif kind.of_a_probe:
            for person in self._who_is_up(lead, at):
                incident.tell(person)
                self._keep(at + 2 * MINUTE, person, lead)
        else:
            self._tell(at, self._who_is_up(lead, at), incident, lead)

    def _climbs_on(self, at: float, kind: Kind, incident: Incident, ring: Ring) -> None:
        """Whoever was told hears that it is worse; the next rungs come as they would have, or as
        those of something quick from now on."""
        told = list(dict.fromkeys(ring.told))
        self._tell(at, told, incident, kind)
        if kind.quick and not ring.quick:
            steps, rung = [MINUTE * minutes for minutes in RUNGS[True]], ring.rung
            start = at - steps[rung - 1]
            incident.ring = on = Ring(start, True, next(self.numbers), rung, told)
            self._later(start + steps[rung], lambda at: self._climb(at, kind, on, rung))

    def _in_the_same_hands(self, kind: Kind, incident: Incident, at: float) -> None:
        """Nobody is being told any more and somebody has the rest of it: theirs too, one word."""
        rest = ranked(kind.subject, incident.members)
        held = [one for one in rest if one in self.holding and one not in self.unseen]
        if incident.ring is not None or not held:
            return
        until = self.promises.get(held[0], at)
        within = until - at if until > at else None
        self._takes(at, kind, self.hands[held[0]], within)
        if kind.wakes and kind.rank >= rest[0].rank:
            self.out.append((round(at, 3), "notice", self.hands[kind], (kind.id,)))

    def _who_is_up(self, kind: Kind, at: float) -> list[str]:
        if 6 * HOUR <= _clock(at) < 21 * HOUR:
            air = kind.product_or_air
            return line_of(self.house, kind.role, at, self.swaps, product_or_air=air)[:1]
        up = [one for one in present(self.house, at, self.swaps) if one.duty.awake]
        own = [one.person for one in up if one.duty.role == kind.role]
        return (own or [one.person for one in up if kind.product_or_air])[:1]

    def _told_at(self, lead: Kind, at: float, rung: int, ring: Ring) -> list[str]:
        air = lead.product_or_air
        return told_at(self.house, lead.role, at, rung, ring.told, self.swaps, product_or_air=air)

    def _climb(self, at: float, kind: Kind, ring: Ring, rung: int) -> None:
        incident = self.incidents.get((kind.subject, kind.group))
        if incident is None or incident.ring is not ring or incident.follows is not None:
            return
        if rung > 3:
            ring.rung = rung
            self._gather(incident)
        lead = incident.lead or kind
        who: dict[str, None] = {}
        for one in self._thread(incident):
            assert one.lead is not None
            who |= dict.fromkeys(self._told_at(one.lead, at, rung, ring))
        self._tell(at, list(who), incident, lead, 0 if at == ring.start else rung)
        ring.rung = rung + 1
        later = ring.start + MINUTE * RUNGS[ring.quick][rung + 1] if rung < 3 else at + HOUR
        self._later(later, lambda at: self._climb(at, kind, ring, rung + 1))

    def _thread(self, leader: Incident) -> list[Incident]:
        """It and what follows it, the gravest first."""
        found = [one for _, one in sorted(self.incidents.items()) if one.follows is leader]
        return [leader, *sorted(found, key=lambda one: -_rank(one))]

    def _gather(self, leader: Incident) -> None:
        """What the same people left unanswered as long, and is no graver, follows it."""
        for one in self.incidents.values():
            ended = one.wake and one.ring is not None and one.ring.rung > 3 and one.follows is None
            same = one.lead and leader.lead and one.lead.role == leader.lead.role
            if ended and same and one is not leader and _rank(one) <= _rank(leader):
                for each in self._thread(one):
                    each.follows = leader

    def _carry_on(self, at: float, was: Incident, ring: Ring | None) -> None:
        """What led is over or answered: the next leads, an hour from now."""
        _, *rest = self._thread(was)
        for one in rest:
            one.follows = None if one is rest[0] else rest[0]
        if rest and ring is not None:
            first, lead = rest[0], rest[0].lead
            assert first.ring is not None and lead is not None
            first.ring = Ring(ring.start, first.ring.quick, next(self.numbers), 4, list(ring.told))
            climbs = first.ring
            self._later(at + HOUR, lambda at: self._climb(at, lead, climbs, 4))

    def _leaves(self, at: float, kind: Kind) -> None:
        """Nobody needs to be told of it any more."""
        incident = self.incidents.get((kind.subject, kind.group))
        if incident is None:
            return
        incident.members.discard(kind.condition)
        if not incident.members:
            del self.incidents[kind.subject, kind.group]
            self._carry_on(at, incident, incident.ring)
            return
        if incident.lead == kind:
            incident.look(kind.subject)
        rest = [OF[kind.subject, name] for name in incident.members]
        wakes = any(one.wakes for one in rest)
        if (incident.wake and not wakes) or not any(one in self.unseen for one in rest):
            ring, incident.ring, incident.follows = incident.ring, None, None
            incident.wake = incident.wake and wakes
            self._carry_on(at, incident, ring)

    def _shelf_over(self, at: float, kind: Kind, shelf: Shelf) -> None:
        if self.shelves.get(kind) is not shelf:
            return
        del self.shelves[kind]
        if kind in self.holding:
            self.unseen.add(kind)
            self._needs_somebody(kind, at, again=False)

    # Answers.

    def _on_list(self, subject: str) -> list[Kind]:
        """The gravest first."""
        theirs = {kind.condition for kind in KINDS if kind.subject == subject}
        return ranked(subject, theirs)

    def _answered(self, at: float, kinds: list[Kind], who: str, within: float | None) -> None:
        for kind in kinds:
            if kind in self.shelves:
                continue
            if kind in self.unseen:
                self.unseen.discard(kind)
                if kind in self.holding:
                    self._takes(at, kind, who, within)
                    self._has_it(at, kind, who)
            elif kind in self.holding and within is not None:
                self._promise(at, kind, who, within)

    def _takes(self, at: float, kind: Kind, who: str, within: float | None) -> None:
        self.unseen.discard(kind)
        self.worse_when_taken[kind] = self.worse[kind]
        self._promise(at, kind, who, within)

    def _promise(self, at: float, kind: Kind, who: str, within: float | None) -> None:
        self.hands[kind] = who
        within = kind.turns_within if within is None else within
        self.promises.pop(kind, None)
        if within is not None:
            until = self.promises[kind] = at + within
            self._later(until, lambda at: self._promise_over(at, kind, until))

    def _has_it(self, at: float, kind: Kind, who: str) -> None:
        incident = self._incident(kind)
        if incident.ring is None:
            return
        ring, incident.ring, incident.follows = incident.ring, None, None
        self._carry_on(at, incident, ring)
        for person in incident.told:
            if person != who:
                self.out.append((round(at, 3), "notice", person, (kind.id,)))

    def _in_hand(self, kind: Kind) -> bool:
        return kind in self.holding and kind not in self.unseen and kind not in self.shelves

    def _promise_over(self, at: float, kind: Kind, until: float) -> None:
        if self.promises.get(kind) != until or not self._in_hand(kind):
            return
        del self.promises[kind]
        worse, before = self.worse[kind], self.worse_when_taken[kind]
        if worse is None or before is None or worse >= before - TURNED:
            self.unseen.add(kind)
            self._needs_somebody(kind, at, again=True)

    def _gets_worse(self, at: float, kind: Kind) -> None:
        worse = self.worse[kind]
        if not self._in_hand(kind) or worse is None:
            return
        before = self.worse_when_taken[kind]
        if before is None:
            self.worse_when_taken[kind] = worse
        elif worse >= before + WORSE:
            self.promises.pop(kind, None)
            self.unseen.add(kind)
            self._needs_somebody(kind, at, again=True)

    # Telling: six within an hour singly, then what is not newly past its limit together, if the
    # rings are about three things or more.

    def _tell(
        self, at: float, who: list[str], incident: Incident, lead: Kind, rung: int = 0,
        waited: bool = False,
    ) -> None:  # fmt: skip
        """What waited for one who was not reached waits for nobody else."""
        thread = self._thread(incident)
        leads = [lead, *(one.lead for one in thread[1:] if one.lead)]
        for person in who:
            for one in thread:
                one.tell(person)
            heard = self.heard.setdefault(person, [])
            recent = [(when, what) for when, what in heard[-6:] if when > at - HOUR]
            things = {what for _, what in recent} | {lead.id}
            newly_far = rung == 0 and lead.condition.startswith("far-")
            if len(recent) < 6 or len(things) < 3 or newly_far or waited:
                heard.append((at, lead.id))
                self.out.append((round(at, 3), "page", person, tuple(one.id for one in leads)))
                if person in self.kept:
                    self.kept[person] = [kind for kind in self.kept[person] if kind not in leads]
                continue
            for each in leads:
                self._keep(at + 5 * MINUTE, person, each)

    def _keep(self, until: float, person: str, lead: Kind) -> None:
        if not self.kept.setdefault(person, []):
            self._later(until, lambda at: self._together(at, person))
        self.kept[person].append(lead)

    def _together(self, at: float, person: str) -> None:
        kept = [kind for kind in dict.fromkeys(self.kept.pop(person, []))
                if kind in self.holding and kind in self.unseen]  # fmt: skip
        if kept:
            alarms = tuple(kind.id for kind in kept)
            self.out.append((round(at, 3), "page", person, alarms))


def _clock(at: float) -> float:
    """Seconds after midnight in Japan, nine hours ahead of Greenwich the year round."""
    return (at + 9 * HOUR) % DAY
