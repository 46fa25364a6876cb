"""What the watch says to people: alarm messages, timeline lines, morning report, evening word.

The first line decides whether someone gets up: place, condition, signed difference, now, plan,
hours left. How one alarm is put into words is in `kuraban.core.texts.alarm_text`.
"""

from __future__ import annotations

from datetime import tzinfo
from typing import NamedTuple

import msgspec

from kuraban.core.effects import Ask
from kuraban.core.texts.alarm_facts import Situation, Title
from kuraban.core.texts.alarm_text import Alarm, known, person, pick
from kuraban.core.texts.translator import Speech, Words, figure
from kuraban.core.units import MINUTE

__all__ = [
    "Aim", "Evening", "First", "Leaving", "Morning", "Night", "Ring", "Text", "Words",
    "asks", "evening", "gathered", "in_hand", "line", "monthly", "morning", "page", "power_back",
    "soundless",
]  # fmt: skip

Then = tuple[str, float | None, float | None]
"""A place's name and its °C before and after."""


class Text(NamedTuple):
    title: str
    body: str


class Night(msgspec.Struct, frozen=True, kw_only=True):
    """One place's night: °C, and seconds outside its tolerance or band."""

    name: str
    lowest: float | None = None
    highest: float | None = None
    outside: float = 0.0


class Aim(msgspec.Struct, frozen=True, kw_only=True):
    """What the plan of a place says now, and at the end of the day; °C."""

    name: str
    now: float
    then: float
    by: float


class Ring(msgspec.Struct, frozen=True, kw_only=True):
    """One alarm that woke somebody, and who answered when."""

    at: float
    alarm: str = ""
    name: str
    condition: str
    who: str | None = None
    answered: float | None = None


class Due(NamedTuple):
    """A stage of a place, None for its pressing, when it is due today, and the `caution.` key of
    that work, "" for none."""

    name: str
    stage: Title | None
    when: float | None
    caution: str = ""


class Morning(msgspec.Struct, frozen=True, kw_only=True):
    """The night behind and the day ahead."""

    at: float
    nights: tuple[Night, ...] = ()
    rings: tuple[Ring, ...] = ()
    waited: tuple[Situation, ...] = ()
    """Duty alarms that did not wake anyone."""
    probes: tuple[tuple[str, str], ...] = ()
    """Name and condition of each probe to look at."""
    aims: tuple[Aim, ...] = ()
    due: tuple[Due, ...] = ()
    done: tuple[tuple[str, str, str | None], ...] = ()
    """Cooler, what was found and done there, and who noted it."""
    note: str | None = None
    """The handover note."""


class Leaving(msgspec.Struct, frozen=True, kw_only=True):
    """A place likely to leave its tolerance before the brewery day turns, if nothing is done."""

    name: str
    condition: str
    when: float


class First(msgspec.Struct, frozen=True, kw_only=True):
    """The place that leaves its tolerance first if a cooler stopped now, and after which hours."""

    cooler: str
    name: str
    soonest: float
    latest: float


class Evening(msgspec.Struct, frozen=True, kw_only=True):
    """The last look while a valve can still be turned."""

    at: float
    here: tuple[str, ...] = ()
    """People on site tonight."""
    woken: tuple[str, ...] = ()
    """Who will be woken, in the order of the ladder."""
    leaving: tuple[Leaving, ...] = ()
    first: tuple[First, ...] = ()
    """Of each cooler whose places' hours are known and few."""
    unwatched: tuple[tuple[str, str], ...] = ()
    """Each place that is not watched and why: a `why.` key of the catalogue, or plain text."""


def page(situation: Situation, language: str, words: Words, zone: tzinfo) -> Text:
    """The message of one alarm."""
    alarm = _alarm(situation, language, words, zone)
    return Text(alarm.title, alarm.body)


def line(situation: Situation, step: str, language: str, words: Words, zone: tzinfo) -> str:
    """One alarm step in one line of the timeline."""
    alarm = _alarm(situation, language, words, zone)
    return alarm.speech.say(f"step.{step}", alarm.fields, title=alarm.still) or alarm.still


def gathered(situations: tuple[Situation, ...], language: str, words: Words, zone: tzinfo) -> Text:
    """Several alarms in one message, the most pressing first; what to do first is that one's."""
    speech = Speech(words, language, zone, max(each.at for each in situations))
    alarms = [Alarm.of(each, speech) for each in situations]
    names = speech.names((alarm.brief for alarm in alarms), 3)
    title = speech.say("gathered.title", known(n=str(len(alarms)), names=names))
    lead = speech.join([alarms[0].first, alarms[0].caution])
    return Text(title, _lines(*(alarm.title for alarm in alarms), lead))


def in_hand(
    situation: Situation,
    who: str,
    until: float | None,
    language: str,
    words: Words,
    zone: tzinfo,
) -> Text:
    """To those already woken: who has it, and by when it should be right."""
    alarm = _alarm(situation, language, words, zone)
    fields = alarm.fields | known(
        who=person(who, alarm.speech), until=alarm.speech.clock(until)
    )  # fmt: skip
    say = alarm.speech.say
    return Text(say("in-hand.title", fields), say("in-hand.body", fields))


def soundless(situation: Situation, language: str, words: Words, zone: tzinfo) -> Text:
    """A cooler's alarm while everything that it serves has many hours: told, not rung."""
    alarm = _alarm(situation, language, words, zone)
    say = alarm.speech.say
    body = alarm.speech.join([say("soundless.body"), alarm.body])
    return Text(say("soundless.title", title=alarm.title), body)


def morning(report: Morning, language: str, words: Words, zone: tzinfo) -> Text:
    """The night and what is due, one line a thing."""
    speech = Speech(words, language, zone, report.at)
    rings = [_ring(ring, speech) for ring in report.rings]
    waited = [Alarm.of(each, speech).still for each in report.waited]
    probes = [
        speech.say("morning.probe", name=name, condition=_condition(condition, speech))
        for name, condition in report.probes
    ]
    due = [
        speech.say("morning.press" if one.stage is None else "morning.stage", known(
            name=one.name, stage=pick(one.stage or {}, language), when=speech.clock(one.when)
        ))
        for one in report.due
    ]  # fmt: skip
    cautions = dict.fromkeys(f"caution.{one.caution}" for one in report.due if one.caution)
    aims = [_aim(aim, speech) for aim in report.aims]
    count = known(n=str(len(rings)))
    return Text(
        speech.say("morning.rings" if rings else "morning.quiet", count),
        _lines(
            *rings,
            speech.say("morning.worth") if rings else "",
            *(_night(night, speech) for night in report.nights),
            speech.say("morning.waited") if waited else "",
            *waited,
            _listing("morning.probes", probes, speech),
            _listing("morning.due", due, speech),
            *(speech.say(caution) for caution in cautions),
            _listing("morning.aims", aims, speech),
            *(
                speech.say("morning.done", known(name=name, text=text, who=who))
                for name, text, who in report.done
            ),
            speech.say("morning.note", known(note=report.note)),
        ),
    )


def asks(report: Morning, language: str, words: Words, zone: tzinfo) -> tuple[Ask, ...]:
    """Each ring of the night, by alarm and as people call it, to be asked: was it worth it?"""
    speech = Speech(words, language, zone, report.at)
    return tuple(
        (ring.alarm, speech.say("morning.ask", known(
            name=ring.name, condition=_condition(ring.condition, speech),
            when=speech.clock(ring.at),
        )))
        for ring in report.rings
    )  # fmt: skip


def evening(word: Evening, language: str, words: Words, zone: tzinfo) -> Text:
    """The evening word: what may go wrong tonight, who is there, what nobody watches."""
    speech = Speech(words, language, zone, word.at)
    leaving = [
        speech.say("evening.leaving", known(
            name=each.name, condition=_condition(each.condition, speech),
            when=speech.clock(each.when),
        ))
        for each in word.leaving
    ]  # fmt: skip
    people = known(here=speech.names(word.here, 10), woken=speech.names(word.woken, 10))
    some = known(names=speech.names((each.name for each in word.leaving), 3))
    return Text(
        speech.say("evening.some" if leaving else "evening.none", some),
        _lines(
            *leaving,
            *(_first(each, speech) for each in word.first),
            speech.say("evening.here" if word.here else "evening.nobody", people),
            speech.say("evening.woken" if word.woken else "evening.unwoken", people),
            *_unwatched(word.unwatched, speech),
            speech.say("evening.only"),
        ),
    )


def monthly(at: float, ice: tuple[str, ...], language: str, words: Words, zone: tzinfo) -> Text:
    """Once a month: try whether phones ring; `ice` are probes to hold into ice water again."""
    speech = Speech(words, language, zone, at)
    names = known(names=speech.names(ice, 20))
    body = _lines(speech.say("monthly.body"), speech.say("monthly.ice", names))
    return Text(speech.say("monthly.title"), body)


def power_back(
    since: float,
    until: float,
    running: tuple[tuple[str, bool | None], ...],
    koji: tuple[Then, ...],
    moved: tuple[Then, ...],
    language: str,
    words: Words,
    zone: tzinfo,
) -> Text:
    """Nothing was seen from `since` to `until`: which coolers and heaters run again (None where it
    is not known), and koji and the tanks that moved, then and now."""
    speech = Speech(words, language, zone, until)
    fields = known(
        dark=speech.stretch(since, until),
        idle=speech.names((name for name, runs in running if runs is False), 20),
        running=speech.names((name for name, runs in running if runs), 20),
        unknown=speech.names((name for name, runs in running if runs is None), 20),
    )
    values = [
        speech.say("back.value", known(
            name=name, then=None if then is None else figure(then), now=speech.measure(now)
        ))
        for name, then, now in (*koji, *moved)
    ]  # fmt: skip
    return Text(
        speech.say("back.title", fields),
        _lines(
            *(speech.say(f"back.{state}", fields) for state in ("unknown", "running")),
            *values,
            speech.join([speech.say("back.first"), speech.say("caution.dark")]),
        ),
    )


def _alarm(situation: Situation, language: str, words: Words, zone: tzinfo) -> Alarm:
    return Alarm.of(situation, Speech(words, language, zone, situation.at))


def _lines(*lines: str) -> str:
    return "\n".join(filter(None, lines))


def _condition(condition: str, speech: Speech) -> str:
    return speech.template(f"{condition}.name") or condition


def _listing(key: str, items: list[str], speech: Speech) -> str:
    return speech.say(key, known(items=speech.names(filter(None, items), 100)))


def _first(first: First, speech: Speech) -> str:
    least, most = max(first.soonest, 0.0), first.latest
    hours = known(least=f"{int(least)}", most=f"{-int(-most // 1)}" if most <= 24 else None)
    return speech.say("evening.first", known(
        cooler=first.cooler, name=first.name,
        hours=speech.say("span.between" if most <= 24 else "span.least", hours),
    ))  # fmt: skip


def _unwatched(unwatched: tuple[tuple[str, str], ...], speech: Speech) -> list[str]:
    """The places that nobody watches, those of one reason together."""
    reasons: dict[str, list[str]] = {}
    for name, why in unwatched:
        reasons.setdefault(speech.template(f"why.{why}") or why, []).append(name)
    return [
        speech.say("evening.unwatched", known(why=why, names=speech.names(names, 100)))
        for why, names in reasons.items()
    ]


def _ring(ring: Ring, speech: Speech) -> str:
    fields = known(
        name=ring.name, condition=_condition(ring.condition, speech), when=speech.clock(ring.at),
        who=ring.who, answered=speech.clock(ring.answered),
    )  # fmt: skip
    return speech.say("morning.answered" if ring.who else "morning.unanswered", fields)


def _aim(aim: Aim, speech: Speech) -> str:
    """A level plan is one figure."""
    now, then = figure(aim.now), figure(aim.then)
    fields = known(name=aim.name, now=now, then=speech.measure(aim.then), by=speech.clock(aim.by))
    return speech.say("morning.aim-level" if now == then else "morning.aim", fields)


def _night(night: Night, speech: Speech) -> str:
    if night.lowest is None or night.highest is None:
        return speech.say("morning.unseen", name=night.name)
    minutes = round(night.outside / MINUTE)
    key = "morning.outside" if minutes else "morning.inside"
    lowest, highest = figure(night.lowest), speech.measure(night.highest)
    fields = known(name=night.name, lowest=lowest, highest=highest, minutes=str(minutes))
    return speech.say(key, fields)
