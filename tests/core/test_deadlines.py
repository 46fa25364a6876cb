"""Deadlines come in the order of their times, whoever entered them when."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from kuraban.core.course import FAR_FUTURE
from kuraban.core.deadlines import Deadlines


@given(st.lists(st.integers(min_value=0, max_value=5)))
def test_deadlines_of_one_moment_keep_the_order_in_which_they_were_made(times: list[int]) -> None:
    deadlines = Deadlines()
    for number, at in enumerate(times):
        deadlines.add(float(at), "climb", number)
    taken = []
    while deadlines.items:
        assert deadlines.next() == min(item[0] for item in deadlines.items)
        at, _, name, about = deadlines.pop()
        taken.append((at, about[0]))
        assert name == "climb"
    assert taken == sorted((float(at), number) for number, at in enumerate(times))


def test_an_empty_agenda_has_nothing_to_wait_for() -> None:
    assert Deadlines().next() == FAR_FUTURE


def test_things_of_different_kinds_share_one_moment() -> None:
    """What an item is about is never compared, so it may be anything."""
    deadlines = Deadlines()
    deadlines.add(5.0, "promise", "tank-3", None)
    deadlines.add(5.0, "climb", ("tank-3", "warm"), 5.0)
    assert [deadlines.pop()[2] for _ in range(2)] == ["promise", "climb"]
