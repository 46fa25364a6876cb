"""Deadlines come in the order of their times, whoever entered them when."""

from __future__ import annotations

from typing import get_args

import msgspec
from hypothesis import given
from hypothesis import strategies as st

from kuraban.core.deadlines import (
    BatchEnded,
    ClimbLadder,
    Deadline,
    Deadlines,
    EntryCounts,
    EntryLapses,
    Evening,
    Gathered,
    HoursInHand,
    Morning,
    PartFailing,
    PartMended,
    PromiseDue,
    ShelfEnds,
    WatchBack,
)
from kuraban.core.entries import Stir
from kuraban.core.facts import Logged
from kuraban.core.planned_curve import FAR_FUTURE

ONE_OF_EACH: tuple[Deadline, ...] = (
    ClimbLadder(("tank-3", "warm"), 1e9, 2),
    HoursInHand(("chiller-1", "cooling")),
    Gathered("aki"),
    PromiseDue("tank-3", "warm", 1e9),
    ShelfEnds("tank-3", "warm", 1e9),
    EntryCounts(Logged("s1", "tank-3", Stir(), 1e9, 1e9)),
    EntryLapses("tank-3", "s1"),
    BatchEnded("tank-3"),
    PartFailing("broker-lost", 1e9),
    PartMended("broker-lost", 1e9),
    WatchBack(1e9, 1e9 + 60),
    Evening(1e9),
    Morning(1e9),
)


@given(st.lists(st.integers(min_value=0, max_value=5)))
def test_deadlines_of_one_moment_keep_the_order_in_which_they_were_made(times: list[int]) -> None:
    deadlines = Deadlines()
    for number, at in enumerate(times):
        deadlines.add(float(at), Gathered(str(number)))
    assert sorted(item.number for item in deadlines.items) == list(range(1, len(times) + 1))
    taken = []
    while deadlines.items:
        at = deadlines.next()
        assert at == min(item.at for item in deadlines.items)
        deadline = deadlines.pop()
        assert isinstance(deadline, Gathered)
        taken.append((at, int(deadline.person)))
    assert taken == sorted((float(at), number) for number, at in enumerate(times))


def test_an_empty_agenda_has_nothing_to_wait_for() -> None:
    assert Deadlines().next() == FAR_FUTURE


def test_things_of_different_kinds_share_one_moment() -> None:
    """What falls due is never compared, so every kind of it can wait for one moment."""
    deadlines = Deadlines()
    for deadline in ONE_OF_EACH:
        deadlines.add(5.0, deadline)
    assert tuple(deadlines.pop() for _ in ONE_OF_EACH) == ONE_OF_EACH


def test_every_kind_of_deadline_can_be_written_down_and_read_again() -> None:
    assert {type(one) for one in ONE_OF_EACH} == set(get_args(Deadline))
    for one in ONE_OF_EACH:
        assert msgspec.json.decode(msgspec.json.encode(one), type=Deadline) == one


def test_what_was_put_off_is_due_in_its_old_order_once_it_is_resumed() -> None:
    deadlines, shelf = Deadlines(), ShelfEnds("tank-3", "warm", FAR_FUTURE)
    deadlines.add(FAR_FUTURE, shelf)
    for person in ("aki", "bun"):
        deadlines.put_off(Gathered(person))
    deadlines.add(1e9, Gathered("dai"))
    assert deadlines.next() == 1e9
    deadlines.resume(5e8)
    taken = [(deadlines.next(), deadlines.pop()) for _ in range(4)]
    assert taken == [
        (5e8, Gathered("aki")), (5e8, Gathered("bun")), (1e9, Gathered("dai")), (FAR_FUTURE, shelf),
    ]  # fmt: skip
