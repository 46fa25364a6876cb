"""Spells of alarm, and two nights side by side."""

from __future__ import annotations

import math
from typing import Any

from kuraban.core.effects import Message, Step
from kuraban.rehearse.spells import Pair, Spell, Verdict, paired, spells_of

MINUTE = 60.0


def step(at: float, alarm: str, name: Any) -> Step:
    subject, _, condition = alarm.partition("/")
    return Step(
        at=at * MINUTE, subject=subject, condition=condition, step=name, urgency="wake", text=""
    )


def page(at: float, *alarms: str, person: str = "aki") -> Message:
    return Message(
        id=f"{at}", at=at * MINUTE, step="page", role="brewer", person=person, urgency="wake",
        title="", body="", alarms=alarms,
    )  # fmt: skip


def night(*events: Step | Message) -> list[Spell]:
    return spells_of(events)


def test_one_side_of_one_tank_is_one_spell() -> None:
    """Warm that becomes far-warm is the same incident; it is told with its first page."""
    (spell,) = night(
        step(0, "tank-1/warm", "raised"),
        page(0, "tank-1/warm"),
        step(30, "tank-1/far-warm", "raised"),
        page(30, "tank-1/far-warm"),
        step(60, "tank-1/far-warm", "returned"),
        step(90, "tank-1/warm", "normal"),
    )
    assert (spell.start, spell.told, spell.end) == (0.0, 0.0, 90 * MINUTE)
    assert (spell.condition, len(spell.rings), spell.far) == ("warm", 2, True)


def test_what_comes_again_is_a_new_spell() -> None:
    """And one that still lasts has no end."""
    first, second = night(
        step(0, "tank-1/warm", "raised"),
        step(10, "tank-1/warm", "returned"),
        step(60, "tank-1/warm", "realarmed"),
    )
    assert first.end == 10 * MINUTE
    assert (second.start, second.end) == (60 * MINUTE, math.inf)


def test_one_message_may_tell_of_several() -> None:
    """Each of them is told then; a page without a step before it is a spell of its own."""
    spells = night(step(0, "tank-1/warm", "raised"), page(5, "tank-1/warm", "chiller-1/stopped"))
    assert [(spell.subject, spell.told) for spell in spells] == [
        ("tank-1", 5 * MINUTE), ("chiller-1", 5 * MINUTE),
    ]  # fmt: skip


def drift(start: float, told: float | None, end: float, *, far: bool = False) -> list[Spell]:
    events: list[Step | Message] = [step(start, "tank-1/warm", "raised")]
    events += [page(told, "tank-1/warm")] if told is not None else []
    events += [step(end - 1, "tank-1/far-warm", "raised")] if far else []
    events += [step(end - 1, "tank-1/far-warm", "normal")] if far else []
    return night(*events, step(end, "tank-1/warm", "normal"))


def test_spells_that_meet_in_time_are_the_same_drift() -> None:
    ((pair,), _) = paired(drift(0, 0, 100), drift(40, 40, 90), [])
    assert pair.told == (0.0, 40 * MINUTE)
    assert pair.later == 40 * MINUTE
    assert pair.differs


def test_spells_that_do_not_meet_stand_alone() -> None:
    pairs, _ = paired(drift(0, 0, 30), drift(100, 100, 130), [])
    assert [pair.told for pair in pairs] == [(0.0, None), (None, 6000.0)]
    assert all(pair.differs and pair.later is None for pair in pairs)


def test_of_several_that_meet_one_the_first_that_rang_stands_for_them() -> None:
    both = [*drift(0, None, 20), *drift(40, 45, 60), *drift(70, 70, 80)]
    pairs, _ = paired(drift(0, 0, 100), both, [])
    assert [pair.told for pair in pairs if pair.differs] == [(0.0, 2700.0), (None, 4200.0)]


def test_nothing_told_in_either_night_is_no_difference() -> None:
    ((pair,), _) = paired(drift(0, None, 30), drift(0, None, 30), [])
    assert not pair.differs


def test_the_same_ring_a_few_seconds_apart_is_no_difference() -> None:
    ((pair,), _) = paired(drift(0, 0, 30), drift(0.5, 0.5, 30), [])
    assert not pair.differs


def test_a_verdict_goes_to_the_latest_ring_before_it() -> None:
    """With the whole name of the alarm, or its condition alone."""
    was = [*drift(0, 0, 30), *drift(100, 100, 130)]
    said = [
        Verdict(20 * MINUTE, "tank-1", "tank-1/warm", "needless"),
        Verdict(500 * MINUTE, "tank-1", "warm", "right"),
    ]
    pairs, lost = paired(was, [], said)
    assert [(pair.verdict, pair.real) for pair in pairs] == [("needless", False), ("right", True)]
    assert lost == 0


def test_a_later_verdict_counts_and_one_without_a_ring_is_lost() -> None:
    said = [
        Verdict(-1.0, "tank-1", "tank-1/warm", "right"),
        Verdict(20 * MINUTE, "tank-1", "tank-1/warm", "needless"),
        Verdict(25 * MINUTE, "tank-1", "tank-1/warm", "late"),
    ]
    ((pair,), lost) = paired(drift(0, 0, 30), [], said)
    assert (pair.verdict, lost) == ("late", 1)


def test_past_its_limit_is_real_unless_the_crew_says_otherwise() -> None:
    (spell,) = drift(0, 0, 100, far=True)
    assert Pair(spell, None).real
    assert not Pair(spell, None, "needless").real
    assert not Pair(None, spell).real
