"""Answers go in the order in which the messages came, whatever was judged first."""

from __future__ import annotations

import random

from kuraban.edges.mqtt.answers import Answers


def owed(*mids: int) -> Answers:
    answers = Answers()
    for mid in mids:
        answers.came(mid)
    return answers


def test_what_is_safe_in_its_order_is_answered_at_once() -> None:
    assert owed(1, 2, 3).ready([1, 2, 3]) == [1, 2, 3]


def test_what_was_judged_early_waits_for_what_came_before_it() -> None:
    answers = owed(1, 2, 3)
    assert answers.ready([2, 3]) == []
    assert answers.ready([1]) == [1, 2, 3]


def test_in_any_order_each_is_answered_once_and_in_its_order() -> None:
    drawn = random.Random(7)
    for _ in range(50):
        mids = list(range(1, 40))
        answers, told = owed(*mids), list[int]()
        left = mids[:]
        drawn.shuffle(left)
        while left:
            count = drawn.randint(1, 5)
            told += answers.ready(left[:count])
            del left[:count]
        assert told == mids
