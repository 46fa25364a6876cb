"""What a detector concludes is told once, through one channel, and it writes nothing itself."""

from __future__ import annotations

import msgspec

from kuraban.core.detectors.base import (
    Conclusion,
    CoolerDetector,
    Detector,
    Finding,
    ProbeDetector,
)
from kuraban.core.house_state import HouseState
from kuraban.core.house_view import HouseView
from kuraban.core.probes.belief import Cleared, Suspected
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
