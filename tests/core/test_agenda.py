"""Deadlines come in the order of their times, whoever entered them when."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from kuraban.core.agenda import Agenda
from kuraban.core.course import FAR_FUTURE


@given(st.lists(st.integers(min_value=0, max_value=5)))
def test_deadlines_of_one_moment_keep_the_order_in_which_they_were_made(times: list[int]) -> None:
    agenda = Agenda()
    for number, at in enumerate(times):
        agenda.add(float(at), "climb", number)
    taken = []
    while agenda.items:
        assert agenda.next() == min(item[0] for item in agenda.items)
        at, _, name, about = agenda.pop()
        taken.append((at, about[0]))
        assert name == "climb"
    assert taken == sorted((float(at), number) for number, at in enumerate(times))


def test_an_empty_agenda_has_nothing_to_wait_for() -> None:
    assert Agenda().next() == FAR_FUTURE


def test_things_of_different_kinds_share_one_moment() -> None:
    """What an item is about is never compared, so it may be anything."""
    agenda = Agenda()
    agenda.add(5.0, "promise", "tank-3", None)
    agenda.add(5.0, "climb", ("tank-3", "warm"), 5.0)
    assert [agenda.pop()[2] for _ in range(2)] == ["promise", "climb"]
