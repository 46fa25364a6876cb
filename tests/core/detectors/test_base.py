"""What a detector concludes is told once, through one channel, and it writes nothing itself."""

from __future__ import annotations

from typing import Any

import msgspec
import pytest

from kuraban.core.detectors.base import (
    Conclusion,
    CoolerDetector,
    Detector,
    Finding,
    ProbeDetector,
    Rule,
    within_a_step,
)
from kuraban.core.detectors.time_outside import TimeOutside
from kuraban.core.house_state import HouseState
from kuraban.core.house_view import HouseView
from kuraban.core.planned_curve import FAR_FUTURE
from kuraban.core.probes.belief import Cleared, Suspected
from kuraban.core.views.explanation import Account, Because, Delay
from tests.core.house import DUSK, brewery


class Warm(Detector):
    conditions = ("warm", "cold")


class Rests(ProbeDetector):
    conditions = ("stuck",)
    reasons = ("stuck", "step")


class Heard:
    """A house, and whatever is concluded about it, which nobody acts on."""

    def __init__(self) -> None:
        self.state = HouseState(brewery(), DUSK)
        self.view = HouseView(self.state)
        self.told: list[Conclusion] = []


def test_a_finding_that_changes_nothing_is_not_told() -> None:
    heard = Heard()
    detector = Warm(heard.view, heard.told.append, "tank-3")
    detector.clear(DUSK)
    detector.found("warm", False, DUSK)
    assert not heard.told
    heard.state.standing.add(("tank-3", "warm"))
    detector.clear(DUSK)
    assert heard.told == [Finding("tank-3", "warm", False, DUSK)]


def test_what_holds_is_told_each_time_since_it_may_have_got_worse() -> None:
    heard = Heard()
    detector = Warm(heard.view, heard.told.append, "tank-3")
    for worse in (0.6, 0.7):
        detector.found("warm", True, DUSK, worse=worse)
    assert [one.worse for one in heard.told if isinstance(one, Finding)] == [0.6, 0.7]


def test_what_speaks_against_a_probe_is_told_when_it_changes() -> None:
    heard = Heard()
    detector = Rests(heard.view, heard.told.append, "t3-mid")
    detector.against("stuck", False, DUSK)
    assert not heard.told
    detector.against("stuck", True, DUSK)
    heard.state.probe_states["t3-mid"].suspect = frozenset({"stuck"})
    detector.against("stuck", True, DUSK + 60)
    detector.against("stuck", False, DUSK + 120)
    assert heard.told == [
        Suspected("t3-mid", "stuck", DUSK),
        Cleared("t3-mid", "stuck", DUSK + 120),
    ]
    assert [type(one) for one in heard.told] == [Suspected, Cleared], "they are equal as figures"


def test_a_detector_that_goes_leaves_nothing_standing() -> None:
    """Neither an alarm nor a doubt that nobody would ever end."""
    heard = Heard()
    heard.state.standing.add(("t3-mid", "stuck"))
    Rests(heard.view, heard.told.append, "t3-mid").leave(DUSK)
    assert heard.told == [
        Finding("t3-mid", "stuck", False, DUSK),
        Cleared("t3-mid", "stuck", DUSK),
        Cleared("t3-mid", "step", DUSK),
    ]


def test_one_that_looks_at_a_cooler_sees_it_as_the_house_has_it_now() -> None:
    heard = Heard()
    detector = CoolerDetector(heard.view, heard.told.append, "chiller-1")
    assert detector.cooler.entry.name == "Chiller 1"
    old = msgspec.structs.replace(heard.state.house.cooler["chiller-1"], name="Old chiller")
    bare = msgspec.structs.replace(heard.state.house, coolers=(old,))
    heard.state.settle_in(bare)
    detector.settle()
    assert detector.cooler.entry.name == "Old chiller"


# -------------------------------------------------------------------------------- what it answers


def asked() -> tuple[Heard, Warm]:
    heard = Heard()
    return heard, Warm(heard.view, heard.told.append, "tank-3")


def test_what_neither_stands_nor_lacks_anything_waits_for_the_next_look() -> None:
    """And says when that is, where it is to be."""
    heard, detector = asked()
    look = Because("next-look")
    assert detector.explain(DUSK) == (
        Account("warm", False, lacks=(look,)), Account("cold", False, lacks=(look,)),
    )  # fmt: skip
    detector.due = DUSK + 60
    assert detector.account("warm").lacks == (Because("next-look", until=DUSK + 60),)
    detector.due = FAR_FUTURE
    assert detector.account("warm", lacks=(None,)).lacks == (look,)
    heard.state.standing.add(("tank-3", "warm"))
    assert detector.account("warm", lacks=(None,)) == Account("warm", True)


def test_by_what_it_will_be_over_is_told_while_it_stands() -> None:
    heard, detector = asked()
    over, no = Because("over-measured"), Because("dusk")
    assert detector.account("warm", lacks=(no,), ends=(over,)) == Account(
        "warm", False, lacks=(no,)
    )
    heard.state.standing.add(("tank-3", "warm"))
    told = detector.account("warm", lacks=(None, no), ends=(None, over))
    assert told == Account("warm", True, lacks=(no,), ends=(over,))


def test_a_time_that_runs_out_is_told_as_a_delay_but_where_a_better_one_is_known() -> None:
    _, detector = asked()
    runs = Because("runs-out", until=DUSK + 400, lasted=200.0, wanted=600.0)
    told = detector.account("warm", lacks=(Because("dusk"), runs))
    assert told.delay == Delay(DUSK - 200, "seen", 200.0, 600.0, DUSK + 400)
    known = Delay(DUSK, "record", 1.0, 2.0, None)
    assert detector.account("warm", lacks=(runs,), delay=known).delay == known
    for lacking in (runs._replace(lasted=0.0), runs._replace(until=None), Because("held")):
        assert detector.account("warm", lacks=(lacking,)).delay is None


@pytest.mark.parametrize(("upward", "must", "beyond", "over"), [
    (True, "must-rise", "is-above", "over-below"), (False, "must-fall", "is-below", "over-above"),
])  # fmt: skip
def test_a_condition_by_a_clock_tells_its_edge_its_delay_and_its_way_back(
    upward: bool, must: Any, beyond: Any, over: Any
) -> None:
    heard, detector = asked()
    clock, rule = TimeOutside(), Rule(upward, 10.5, 10.4, 600.0, 150.0, "K")
    lacks = Because(must, 10.0, 10.5, "K", wanted=600.0)
    assert detector.by_clock("warm", clock, rule, 10.0, DUSK) == Account(
        "warm", False, lacks=(lacks,)
    )
    clock.note(DUSK, True, False, 600.0)
    told = detector.by_clock("warm", clock, rule, 11.0, DUSK + 60, quiet=DUSK + 900)
    assert told.seen == (Because(beyond, 11.0, 10.5, "K"),)
    assert told.lacks == (
        Because("runs-out", until=DUSK + 600, lasted=60.0, wanted=600.0),
        Because("held", until=DUSK + 900),
    )
    assert told.delay == Delay(DUSK, "seen", 60.0, 600.0, DUSK + 600) and told.ends == ()
    nothing = detector.by_clock("warm", clock, rule, None, DUSK + 60)
    assert nothing.seen == () and nothing.lacks[0] == Because("no-value", since=DUSK)
    heard.state.standing.add(("tank-3", "warm"))
    clock.note(DUSK + 60, False, True, 600.0)
    back = Because(over, 10.3, 10.4, "K", since=DUSK + 60, wanted=150.0)
    assert detector.by_clock("warm", clock, rule, 10.3, DUSK + 90).ends == (back,)
    held = detector.by_clock("warm", clock, rule, 10.3, DUSK + 90, quiet=DUSK + 91)
    assert held.ends == (back, Because("held", until=DUSK + 91))
    assert detector.by_clock("warm", clock, rule, 10.3, DUSK + 91, quiet=DUSK + 91).ends == (back,)


@pytest.mark.parametrize("values", [[10.0], [10.0, 10.4, 9.9], [10.0, 10.75], [-0.2, 0.3, 0.1]])
def test_between_the_bounds_about_what_a_probe_said_nothing_is_a_step(values: list[float]) -> None:
    least, most = within_a_step(values, 0.8)
    assert least < min(values) <= max(values) < most
    assert 0.7 < most - least < 0.8


def test_about_values_nearly_a_step_apart_there_are_no_such_bounds() -> None:
    for high in (10.77, 10.8, 12.0):
        least, most = within_a_step([10.0, high], 0.8)
        assert not least < most
