"""Was each ring worth it: what the alarms of some weeks cost their people, held against figures.

An *alarm* here is one annunciation: an alarm that was raised, or came again (re-alarm, end of a
shelf or of a suppression). A *ring* is one message that rang one phone; one alarm may ring several
phones, or none. Definitions of flood, chattering, fleeting and stale, and the figures in `TARGETS`,
are those of ANSI/ISA-18.2-2016 clause 16, ISA-TR18.2.5 and EEMUA 191, from memory. They are meant
for an operator at a desk; whoever sleeps needs far fewer.
"""

from __future__ import annotations

from collections import Counter, deque
from collections.abc import Iterable, Sequence
from datetime import tzinfo
from statistics import median

import msgspec

from kuraban.core import entries as e
from kuraban.core.effects import Message, Step
from kuraban.core.facts import Logged
from kuraban.core.units import DAY, HOUR, MINUTE, brewery_day

WINDOW = 10 * MINUTE
FLOOD_BEGINS, FLOOD_ENDS = 10, 5
"""Alarms in ten minutes at which a flood begins, and below which it is over."""
CHATTERS, CHATTERS_WITHIN = 3, MINUTE
FLEETS = MINUTE
STALE = DAY
COMES = frozenset({"raised", "realarmed", "unshelved", "released", "in-service"})
GOES = frozenset({"normal", "shelved", "suppressed", "out-of-service"})
NEEDED_DAYS = 30
TARGETS = {
    "alarms_a_day": "150 very likely acceptable, 300 the most that can be managed",
    "most_in_10_min": "10 at most",
    "in_flood": "under 1 %",
    "crowded": "under 1 % of all ten minutes with more than 10",
    "stale": "under 5 on any day, each with something being done about it",
    "chattering": "none, fleeting ones included",
    "share_of_top": "1 to 5 % of all for the ten most frequent together",
    "urgencies": "5 % high, 15 % medium, 80 % low",
}
OWN_TARGETS = {
    "wakes_in_a_night": "2 in one night",
    "needless": "1 needless wake in 30 nights for each person",
}
"""Our own, not those of a standard."""


class Frequent(msgspec.Struct, frozen=True):
    """One alarm and how often it came."""

    alarm: str
    times: int
    share: float


class Rings(msgspec.Struct, frozen=True, kw_only=True):
    """Shares are of 1, times in seconds, `start` and `end` in Unix seconds."""

    start: float
    end: float
    alarms: int
    rings: int
    alarms_a_day: float
    most_in_a_day: int
    rings_a_day: float
    most_in_10_min: int
    crowded: float
    in_flood: float
    stale: tuple[str, ...]
    """Alarms that stood for more than a day at any time."""
    stale_on_one_day: int
    chattering: tuple[str, ...]
    fleeting: tuple[str, ...]
    frequent: tuple[Frequent, ...]
    share_of_top: float
    urgencies: dict[str, float]
    answered: int
    unanswered: int
    answer_median: float | None
    answer_longest: float | None
    wakes: dict[str, int]
    """Rings that woke, by person."""
    most_wakes_in_a_night: dict[str, int]
    verdicts: dict[str, int]
    """right, needless, late; and how many wakes nobody judged, as "unsaid"."""
    needless_by_person: dict[str, int]

    @property
    def days(self) -> float:
        return (self.end - self.start) / DAY


def rings(
    steps: Iterable[Step],
    messages: Iterable[Message],
    said: Iterable[Logged],
    start: float,
    end: float,
    day_starts: float,
    zone: tzinfo,
) -> Rings:
    """Everything counted over [start, end), which `steps`, `messages` and entries lie in."""
    steps, pages = list(steps), [one for one in messages if one.step == "page"]
    came = [step for step in steps if step.step in COMES and step.urgency != "log"]
    times = [step.at for step in came]
    days = max((end - start) / DAY, 1e-9)
    spells = _standing(steps, end)
    frequent = _frequent(came)
    answers = _answers(pages, steps)
    wakes = [page for page in pages if page.urgency == "wake"]
    verdicts, needless = _verdicts(wakes, said)
    stale = [(alarm, a, b) for alarm, a, b in spells if b - a > STALE]
    by_day = Counter(brewery_day(at, day_starts, zone) for at in times)
    return Rings(
        start=start, end=end, alarms=len(came), rings=len(pages),
        alarms_a_day=len(came) / days, most_in_a_day=max(by_day.values(), default=0),
        rings_a_day=len(pages) / days,
        most_in_10_min=_most_within(times, WINDOW),
        crowded=_crowded(times, start, end), in_flood=_flood(times, end) / max(end - start, 1.0),
        stale=tuple(dict.fromkeys(alarm for alarm, _, _ in stale)),
        stale_on_one_day=_most_together([(a + STALE, b) for _, a, b in stale]),
        chattering=_chattering(came), fleeting=_fleeting(steps),
        frequent=frequent, share_of_top=sum(one.share for one in frequent),
        urgencies=_shares(Counter(step.urgency for step in came)),
        answered=sum(time is not None for time in answers),
        unanswered=sum(time is None for time in answers),
        answer_median=median(known) if (known := [t for t in answers if t is not None]) else None,
        answer_longest=max(known, default=None),
        wakes=dict(Counter(page.person for page in wakes)),
        most_wakes_in_a_night=_nights(wakes, day_starts, zone),
        verdicts=verdicts, needless_by_person=needless,
    )  # fmt: skip


def _most_within(times: Sequence[float], window: float) -> int:
    """The most that fell within any stretch of that length."""
    recent: deque[float] = deque()
    most = 0
    for at in times:
        recent.append(at)
        while recent[0] <= at - window:
            recent.popleft()
        most = max(most, len(recent))
    return most


def _crowded(times: Sequence[float], start: float, end: float) -> float:
    counts = Counter(int((at - start) // WINDOW) for at in times)
    periods = max(int(-(-(end - start) // WINDOW)), 1)
    return sum(count > FLOOD_BEGINS for count in counts.values()) / periods


def _flood(times: Sequence[float], end: float) -> float:
    """Seconds in flood: from the tenth alarm in ten minutes until fewer than five are left."""
    moves = sorted([(at, 1) for at in times] + [(at + WINDOW, -1) for at in times])
    count, began, total = 0, None, 0.0
    for at, change in moves:
        count += change
        if began is None and count >= FLOOD_BEGINS:
            began = at
        elif began is not None and count < FLOOD_ENDS:
            total += min(at, end) - began
            began = None
    return total + (end - began if began is not None else 0.0)


def _standing(steps: list[Step], end: float) -> list[tuple[str, float, float]]:
    """(alarm, from, to) of every stretch on the list of alarms, to `end` where it still stands."""
    since: dict[str, float] = {}
    found = []
    for step in steps:
        if step.step in COMES:
            since.setdefault(step.alarm, step.at)
        elif step.step in GOES and step.alarm in since:
            found.append((step.alarm, since.pop(step.alarm), step.at))
    return found + [(alarm, at, end) for alarm, at in since.items()]


def _most_together(spells: list[tuple[float, float]]) -> int:
    moves = sorted([(a, 1) for a, _ in spells] + [(b, -1) for _, b in spells])
    count = most = 0
    for _, change in moves:
        count += change
        most = max(most, count)
    return most


def _chattering(came: list[Step]) -> tuple[str, ...]:
    """Alarms that came three times within a minute."""
    by_alarm: dict[str, list[float]] = {}
    for step in came:
        by_alarm.setdefault(step.alarm, []).append(step.at)
    return tuple(
        alarm
        for alarm, times in by_alarm.items()
        if _most_within(times, CHATTERS_WITHIN) >= CHATTERS
    )


def _fleeting(steps: list[Step]) -> tuple[str, ...]:
    """Alarms that were over within a minute, before anyone could answer."""
    since: dict[str, float] = {}
    found: dict[str, None] = {}
    for step in steps:
        if step.step in COMES:
            since[step.alarm] = step.at
        elif step.step == "returned" and step.at - since.get(step.alarm, -DAY) < FLEETS:
            found[step.alarm] = None
    return tuple(found)


def _frequent(came: list[Step]) -> tuple[Frequent, ...]:
    counted = Counter(step.alarm for step in came)
    ordered = sorted(counted.items(), key=lambda one: (-one[1], one[0]))[:10]
    return tuple(Frequent(alarm, times, times / len(came)) for alarm, times in ordered)


def _shares(counted: Counter[str]) -> dict[str, float]:
    every = sum(counted.values())
    return {name: counted[name] / every if every else 0.0 for name in ("wake", "duty")}


def _answers(pages: list[Message], steps: list[Step]) -> list[float | None]:
    """For each alarm that rang, the seconds from its first ring to the answer; None without one."""
    rung: dict[str, float] = {}
    moves: list[tuple[float, int, str, str]] = [
        (page.at, 1, alarm, "page") for page in pages for alarm in page.alarms
    ]
    moves += [(step.at, 0, step.alarm, step.step) for step in steps]
    found: list[float | None] = []
    for at, _, alarm, what in sorted(moves, key=lambda move: move[:2]):
        if what == "page":
            rung.setdefault(alarm, at)
        elif what == "acknowledged" and alarm in rung:
            found.append(at - rung.pop(alarm))
        elif what in GOES and alarm in rung:
            found.append(None)
            del rung[alarm]
    return found + [None] * len(rung)


def _nights(wakes: list[Message], day_starts: float, zone: tzinfo) -> dict[str, int]:
    """The most incidents that woke a person in one brewery night; repeats are one."""
    heard: dict[tuple[str, object], set[tuple[str, ...]]] = {}
    for page in wakes:
        night = brewery_day(page.at, day_starts, zone)
        heard.setdefault((page.person, night), set()).add(page.alarms)
    most: dict[str, int] = {}
    for (person, _), alarms in heard.items():
        most[person] = max(most.get(person, 0), len(alarms))
    return most


def _verdicts(
    wakes: list[Message], said: Iterable[Logged]
) -> tuple[dict[str, int], dict[str, int]]:
    """How the wakes were judged; each verdict is about the latest wake of its alarm before it."""
    events: dict[tuple[str, float], list[Message]] = {}
    first: dict[str, float] = {}
    for page in wakes:
        for alarm in page.alarms:
            if page.rung == 0 or alarm not in first:
                first[alarm] = page.at
            events.setdefault((alarm, first[alarm]), []).append(page)
    judged: dict[tuple[str, float], str] = {}
    for logged in sorted(said, key=lambda logged: logged.at):
        if isinstance(logged.entry, e.Verdict):
            alarm = logged.entry.alarm
            before = [at for name, at in events if name == alarm and at <= logged.at + HOUR]
            if before:
                judged[alarm, max(before)] = logged.entry.was
    counted = Counter(judged.values())
    verdicts = {was: counted[was] for was in ("right", "needless", "late")}
    verdicts["unsaid"] = len(events) - len(judged)
    needless: Counter[str] = Counter()
    for key, was in judged.items():
        if was == "needless":
            needless.update({page.person for page in events[key]})
    return verdicts, dict(needless)
