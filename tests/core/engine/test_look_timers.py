"""Who looks when."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from kuraban.core.detectors.base import Conclusion, Detector
from kuraban.core.engine.look_timers import SWEPT_FROM, Timers
from kuraban.core.house_state import HouseState
from kuraban.core.house_view import HouseView
from kuraban.core.planned_curve import FAR_FUTURE
from kuraban.core.units import HOUR, MINUTE
from tests.core.house import DUSK, brewery


def view() -> HouseView:
    return HouseView(HouseState(brewery(), DUSK))


def nobody(conclusion: Conclusion) -> None:
    """Who hears what these conclude, which is nothing."""


class Waits(Detector):
    """One that wants to look again, as often as a test says."""


@given(st.lists(st.tuples(st.integers(0, 3), st.integers(0, 200)), max_size=40))
def test_the_latest_wish_of_a_detector_counts(wishes: list[tuple[int, int]]) -> None:
    sees = view()
    detectors = [Waits(sees, nobody, str(number)) for number in range(4)]
    timers, wanted = Timers(), {}
    for number, at in wishes:
        timers.want(detectors[number], float(at))
        wanted[number] = at
    taken = []
    while timers.next() < FAR_FUTURE:
        at = timers.next()
        taken.append((at, int(timers.pop().subject)))
    assert sorted(taken) == sorted((float(at), number) for number, at in wanted.items())
    assert [at for at, _ in taken] == sorted(at for at, _ in taken)


def test_a_wish_for_never_takes_the_earlier_one_back() -> None:
    timers, detector = Timers(), Waits(view(), nobody, "tank-3")
    timers.want(detector, DUSK + MINUTE)
    timers.want(detector, FAR_FUTURE)
    assert timers.next() == FAR_FUTURE


@given(st.lists(st.tuples(st.integers(0, 3), st.integers(1, 200)), max_size=60))
def test_wishes_made_at_a_look_take_their_turn(wishes: list[tuple[int, int]]) -> None:
    """Each detector, when it looked, wants to look again some seconds on."""
    sees, timers = view(), Timers()
    detectors = [Waits(sees, nobody, str(number)) for number in range(4)]
    now, left = 0.0, list(wishes)
    for detector in detectors:
        timers.want(detector, 30.0)
    while left:
        number, seconds = left.pop()
        timers.want(detectors[number], now + seconds)
        at = timers.next()
        assert at == min(detector.due for detector in detectors) >= now
        if at == FAR_FUTURE:
            break
        now = at
        timers.pop()


def test_at_one_moment_looks_first_what_wished_first() -> None:
    sees, timers = view(), Timers()
    for number in (2, 0, 1):
        timers.want(Waits(sees, nobody, str(number)), DUSK + HOUR)
    timers.next()
    timers.want(Waits(sees, nobody, "3"), DUSK + HOUR)
    looks = []
    while timers.next() < FAR_FUTURE:
        looks.append(timers.pop().subject)
    assert looks == ["2", "0", "1", "3"]


def test_replaced_wishes_do_not_pile_up() -> None:
    """However often it changes its mind about one far minute."""
    timers, detector = Timers(), Waits(view(), nobody, "tank-3")
    for number in range(5 * SWEPT_FROM):
        timers.want(detector, DUSK + HOUR + number % 50)
    (wishes,) = timers._ahead.values()
    assert len(wishes) < SWEPT_FROM + MINUTE
