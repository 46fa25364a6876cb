"""What must be true of every season, whatever befell it."""

from __future__ import annotations

import sqlite3
from bisect import bisect_left
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import closing
from itertools import pairwise

from kuraban.core.effects import Message, Step
from kuraban.core.engine.engine import Engine
from kuraban.core.facts import Delivered, Reading
from kuraban.core.units import HOUR, MINUTE
from kuraban.edges.phones.courier import DOUBT
from tests.core.house import words
from tests.simulation import model
from tests.simulation.brewery import (
    AFTER,
    DATED,
    EVERY,
    OF,
    OUTSIDE,
    PING_EVERY,
    PLANNED,
)
from tests.simulation.link_checks import wrong_links
from tests.simulation.reach_checks import somebody_is_reached
from tests.simulation.season import SETTLES, Season
from tests.simulation.told import SLOWEST, Told, at, heard_of, off_times, thing

Wrong = Iterator[tuple[str, str]]


def the_chain_holds(season: Season, told: Told) -> Wrong:
    for fault in told.faults:
        yield "chain", fault


def nothing_answered_is_lost(season: Season, told: Told) -> Wrong:
    """But of a list of readings that all lie ahead of a wall clock that is wrong: they are taken
    when they come, which is one moment, and the first of it is kept. And but of boards with a clock
    of their own where the watch started by a wall clock that was wrong, or had been set meanwhile:
    by which clock a board goes shows only with what it says next. And what a board says again while
    the wall clock is an hour off may bear the moment of what it measured an hour later or earlier:
    each takes the place of one.
    """
    refused = 0
    in_place = {probe: values.total() - len(values) for probe, values in told.values.items()}
    for sent in season.broker.sent:
        kind = sent.what[0]
        if not sent.answered:
            if not sent.lost:
                yield "left over", f"{sent.what} of {at(sent.at)} was never answered"
            continue
        if kind == "reading":
            if (
                season.started_wrong
                and sent.given
                and (sent.what[1] in DATED or len(sent.what[2]) > 1)
            ):
                continue
            for value in sent.what[2][: 0 if sent.wrong and len(sent.what[2]) > 1 else None]:
                if told.values[sent.what[1]][value]:
                    continue
                if _clock_set(season) and sent.what[1] in DATED and in_place[sent.what[1]]:
                    in_place[sent.what[1]] -= 1
                    continue
                yield "lost", f"{value} of {sent.what[1]} of {at(sent.at)}"
        elif kind == "entry":
            refused += sent.what[1:] not in told.entries
        else:
            refused += 1
    if refused > told.refused:
        yield "lost", f"{refused} should have been refused, {told.refused} were"


def nothing_counts_twice(season: Season, told: Told) -> Wrong:
    """But what bears no time and was handed over twice: nothing in it says that it is one. Nor
    in a season in which the wall clock was set: what a board says again an hour later may be dated
    by the clock of then or of now.
    """
    stepped = _clock_set(season)
    again = {
        (sent.what[1], value)
        for sent in season.broker.sent
        if sent.what[0] == "reading" and sent.given > 1 and sent.what[1] not in DATED
        for value in sent.what[2]
    }
    for probe, values in told.values.items():
        for value, count in values.items():
            if count > 1 and (probe, value) not in again and not (stepped and probe in DATED):
                yield "twice", f"{value} of {probe} stands {count} times in the journal"


def _clock_set(season: Season) -> bool:
    return any(event.do == "clock" for event in season.script.events)


def every_entry_is_decided(season: Season, told: Told) -> Wrong:
    for key in told.entries - told.first:
        yield "undecided", f"nobody knows what became of {key}"


def the_journal_replays(season: Season, told: Told) -> Wrong:
    if season.upgraded or season.forgotten or season.script.schema:
        return
    engine = Engine(words())
    for fact in told.facts:
        engine.take(fact)
    engine.wake(told.now)
    again = engine.drain().story
    ours = sorted((*told.steps, *told.messages), key=_order)
    for left, right in zip(sorted(again, key=_order), ours, strict=False):
        if left != right:
            yield "replay", f"{left}\n  is in the journal {right}"
            return
    if len(again) != len(ours):
        yield "replay", f"{len(again)} told again, {len(ours)} in the journal"


def _order(event: Step | Message) -> tuple[float, str, str]:
    return event.at, type(event).__name__, event.alarm if isinstance(event, Step) else event.id


def every_page_has_its_cause(season: Season, told: Told) -> Wrong:
    """Each alarm of it rings at that moment, by the steps before it."""
    ringing: dict[str, float] = {}
    left = iter(sorted((*told.before, *told.steps), key=lambda step: step.at))
    step = next(left, None)
    for page in sorted(told.messages, key=lambda message: message.at):
        while step is not None and step.at <= page.at:
            if step.step in model.RINGING:
                ringing[step.alarm] = step.at
            step = next(left, None)
        for alarm in page.alarms if page.step == "page" else ():
            if alarm not in ringing:
                yield "cause", f"{page.person} was rung for {alarm} at {at(page.at)}: it never rang"


def no_step_is_told_twice(season: Season, told: Told) -> Wrong:
    """Of one thing, that is of one side of one product, a person hears once at each rung, unless
    some sign of it rang anew. Who was told instead of somebody not reached hears at his own rung
    all the same."""
    last: dict[tuple[str, tuple[str, ...], int], float] = {}
    rang = [(step.at, thing(step.alarm)) for step in told.steps if step.step in model.RINGING]
    failed = [one.received for one in told.facts if isinstance(one, Delivered) and not one.sent]
    for page in told.messages:
        if page.step != "page":
            continue
        key, things = (page.person, page.alarms, page.rung), {thing(one) for one in page.alarms}
        before = last.get(key)
        last[key] = page.at
        if before is None or page.at - before >= 5 * MINUTE:
            continue
        if any(before - 10 * MINUTE < when <= before for when in failed):
            continue
        signs = [when for when, what in rang if before <= when <= page.at and what in things]
        if not any(before < when for when in signs) and signs.count(before) < 2:  # a standing clock
            yield "told twice", f"{page.person} of {page.alarms} at {at(before)} and {at(page.at)}"


def no_phone_hears_twice(season: Season, told: Told) -> Wrong:
    """Unless it says so, or the service had said that the first did not come."""
    if season.forgotten:
        return
    made = Counter((m.person, m.title, m.body) for m in (*told.left, *told.messages))
    heard: Counter[tuple[str, str, str, str]] = Counter()
    for rung in season.phones.rung:
        marked = any(rung.body.endswith(words) for words in DOUBT.values())
        if not marked and not rung.unsure:
            heard[rung.address, rung.person, rung.title, rung.body] += 1
    for (address, *what), count in heard.items():
        if count > made[tuple(what)]:  # type: ignore[index]
            yield "heard twice", f"{address} got {count} times: {what[1]}"


def nobody_is_rung_for_what_is_in_hand(season: Season, told: Told) -> Wrong:
    """Nor for what is over: once it was told as quiet for minutes no page of it reaches a phone."""
    if season.forgotten:
        return
    loud: dict[tuple[str, str], list[tuple[float, float]]] = {}
    began: dict[str, float] = {}
    for step in sorted((*told.before, *told.steps), key=lambda step: step.at):
        since = began.pop(step.alarm, None)
        if since is not None:
            loud.setdefault(thing(step.alarm), []).append((since, _told_by(season, step.at)))
        if step.step in model.RINGING:
            began[step.alarm] = _first(season, step.at)
    for alarm, since in began.items():
        loud.setdefault(thing(alarm), []).append((since, 9e99))
    for when, person, alarms, urgent in heard_of(season, told):
        if urgent and alarms and not any(_loud(loud.get(thing(one), []), when) for one in alarms):
            yield "in vain", f"{person} was rung at {at(when)} for {sorted(alarms)}, which is quiet"


def _first(season: Season, moment: float) -> float:
    """When the watch first called it that moment: its time stands still over a start by a clock
    that is behind."""
    number = bisect_left(season.marks, (moment, 0.0))
    known = number < len(season.marks) and season.marks[number][0] == moment
    return season.marks[number][1] if known else season.truly(moment)


def _told_by(season: Season, moment: float) -> float:
    """When the watch told what it calls of that moment: after a sleep, as it woke."""
    number = bisect_left(season.marks, (moment, 0.0))
    return season.marks[number][1] if number < len(season.marks) else season.truly(moment)


def _loud(spells: list[tuple[float, float]], moment: float) -> bool:
    """Whether it rang at a moment, or shortly before."""
    return any(began <= moment + 1 and moment < ended + SLOWEST for began, ended in spells)


def what_is_wrong_is_told(season: Season, told: Told) -> Wrong:
    """A place outside its tolerance for its delay, by the readings that came in time and with
    nothing that masks it, has raised its alarm. One reading may be a stray one: the second outside
    shows that the first was."""
    off = off_times(season)
    touched = {event.where for event in season.script.events if event.do == "entry"
               and event.entry.get("entry") != "batch-start"}  # fmt: skip
    running = {subject for subject, id_ in told.entries if id_.startswith("at-")}
    steps = [step for step in told.steps if step.step != "normal"]
    if any(event.do == "clock" for event in season.script.events) or season.script.schema:
        return
    for probe, place in OF.items():
        if place in touched or (place != "store" and place not in running):
            continue
        gap = 2.5 * EVERY[probe] * MINUTE
        since: float | None = None
        before, seen = 0.0, 0
        for fact in told.facts:
            if not isinstance(fact, Reading) or fact.probe != probe or fact.late:
                continue
            beyond = abs(fact.value - PLANNED[place]) - OUTSIDE[place]
            if beyond < 0.1 or fact.received - before > gap:
                since, seen = None, 0
            if beyond >= 0.1:
                seen += 1
                if since is None:
                    since = fact.received
                elif seen == 2:
                    since = max(since, fact.received - EVERY[probe] * MINUTE)
            before = fact.received
            if since is None:
                continue
            due = since + AFTER[place] + EVERY[probe] * MINUTE + SLOWEST
            due = model.later(due, since, off, AFTER[place] + 2 * EVERY[probe] * MINUTE + SLOWEST)
            if fact.received > due and not _alarmed(steps, place, since, fact.received):
                yield (
                    "untold",
                    (
                        f"{place} is outside since {at(since)}, {fact.value:.2f}, and had no alarm"
                        f" by {at(due)}"
                    ),
                )
                break


BELIEVED_OTHERWISE = (
    "warm", "cold", "overcooling", "unwatched", "addition-unlogged", "displaced",
)  # fmt: skip
"""Alarms of a place or its probe that say what is wrong, or what holds the judging back."""


def _alarmed(steps: list[Step], place: str, since: float, until: float) -> bool:
    """Whether one had been told by then."""
    return any(
        (step.subject == place or (OF.get(step.subject) == place and step.condition == "displaced"))
        and step.condition.endswith(BELIEVED_OTHERWISE)
        and not step.condition.startswith("trending") and step.at <= until
        for step in steps
    )  # fmt: skip


def nobody_is_rung_for_nothing(season: Season, told: Told) -> Wrong:
    """A tank that never left its plan is never told as warm or cold."""
    drifting = {event.where for event in season.script.events if event.do in ("drift", "entry")
                and event.entry.get("entry") not in ("batch-start", "stir", "note")}  # fmt: skip
    if season.script.schema:
        return
    mangled = {OF[event.where] for event in season.script.events if event.do == "mangled"}
    for step in told.steps:
        if step.subject in PLANNED and step.step == "raised" and step.urgency == "wake":
            product = step.condition.endswith(("warm", "cold", "overcooling"))
            if product and step.subject not in drifting | mangled:
                yield "false", f"{step.alarm} at {at(step.at)}: {step.text}"


def silence_is_noticed(season: Season, told: Told) -> Wrong:
    """Signs of life come while all is well, and none when nobody watches."""
    for life in season.lives:
        ready, ended = life.ready or 9e99, life.ended or season.end
        for one, two in pairwise((*life.petted, ended)):
            if two - one > SLOWEST and not _slept(season, one, two):
                yield "standing still", f"no good turn from {at(one)} to {at(two)}"
        calls = [ready, *(call for call in season.pinged if ready <= call <= ended), ended]
        for one, two in pairwise(calls):
            if two - one > PING_EVERY + 2 * SLOWEST and not _excused(season, told, one, two):
                yield "no sign of life", f"from {at(one)} to {at(two)}"
    dead = [
        (one.ended or 9e99, two.ready or two.ended or 9e99) for one, two in pairwise(season.lives)
    ]
    for call in season.pinged:
        if any(start < call < end for start, end in dead):
            yield "false sign of life", at(call)


def _slept(season: Season, start: float, end: float) -> bool:
    return any(
        event.do == "sleep" and season.began + event.at * HOUR < end
        and season.began + (event.at + event.lasts) * HOUR > start
        for event in season.script.events
    )  # fmt: skip


def _excused(season: Season, told: Told, start: float, end: float) -> bool:
    """Asleep, the disk failed, or somebody could not be reached and none of his messages has shown
    yet that he can: then it is to stay away."""
    fails = [one for one in season.failing if one[0] < end and one[1] + 3 * MINUTE > start]
    phones = any(
        not phone.well_from_to(start - 10 * MINUTE, end) for phone in season.phones.of.values()
    )
    known = [one.step for one in told.steps if one.condition == "pages-failing"
             and season.truly(one.at) <= end]  # fmt: skip
    unproven = bool(known) and known[-1] not in ("returned", "normal")
    return bool(fails) or phones or unproven or _slept(season, start, end)


def little_is_left_over(season: Season, told: Told) -> Wrong:
    """When all is well for an hour nothing is on the way to anybody but what was told as the
    watch was asked to end, and nothing has piled up."""
    with closing(sqlite3.connect(season.journal)) as db:
        waiting = db.execute("SELECT id, person, due, claimed FROM outbox").fetchall()
    for row in waiting:
        if row[1] not in season.house.person:
            continue
        shown, true = season.marks[-1]  # rows are in the time of the last life
        if true + row[2] - shown > season.end - 2 * MINUTE:
            continue
        yield "unsent", f"{row} still waits at the end"
    watch = season.life.watch
    if watch is not None and watch.engine.started and len(watch.engine.deadlines.items) > 120:
        yield "piled up", f"{len(watch.engine.deadlines.items)} deadlines"


def links_answer_once_and_in_time(season: Season, told: Told) -> Wrong:
    yield from wrong_links(season, told.facts)


CHECKS: tuple[Callable[[Season, Told], Wrong], ...] = (
    the_chain_holds, nothing_answered_is_lost, nothing_counts_twice, every_entry_is_decided,
    the_journal_replays, every_page_has_its_cause, no_step_is_told_twice, no_phone_hears_twice,
    nobody_is_rung_for_what_is_in_hand,
    somebody_is_reached, what_is_wrong_is_told, nobody_is_rung_for_nothing, silence_is_noticed,
    little_is_left_over, links_answer_once_and_in_time,
)  # fmt: skip


def wrong_with(season: Season) -> list[tuple[str, str]]:
    """Each rule that was broken, and how."""
    told = Told(season)
    return season.wrong + [found for check in CHECKS for found in check(season, told)]


assert SETTLES * HOUR > model.SLOW + model.ALL_WITHIN
