"""One door for what detectors conclude, and one owner behind it for each kind."""

from __future__ import annotations

from kuraban.core.detectors.base import Conclusion, Disturbed, Dusk, Finding, Remark
from kuraban.core.engine.conclusions import Conclusions
from kuraban.core.house_state import HouseState
from kuraban.core.probes.belief import Belief, Cleared, Suspected, Understood
from kuraban.core.units import HOUR
from tests.core.house import DUSK, brewery

WARM = ("tank-3", "warm")


class House:
    """A house in which everybody writes down what reaches them."""

    def __init__(self, *left_out: str) -> None:
        self.state = HouseState(brewery(), DUSK)
        self.findings: list[tuple[Finding, bool]] = []
        """Each with whether the house said by then that it stands."""
        self.remarks: list[tuple[str, str, float, float]] = []
        belief = Belief(self.state.probe_states, self.state.places)
        self.door = Conclusions(self.state, belief, self, self, frozenset(left_out))

    def take(self, finding: Finding) -> None:
        self.findings.append((finding, (finding.subject, finding.condition) in self.state.standing))

    def remark(self, subject: str, what: str, value: float, at: float) -> None:
        self.remarks.append((subject, what, value, at))

    def told(self, *conclusions: Conclusion) -> House:
        for conclusion in conclusions:
            self.door.take(conclusion)
        return self


def test_a_finding_stands_before_anybody_hears_of_it() -> None:
    found, over = (Finding(*WARM, holds, DUSK) for holds in (True, False))
    house = House().told(found)
    assert house.state.standing == {WARM}
    house.told(over, over)
    assert house.findings == [(found, True), (over, False), (over, False)]
    assert not house.state.standing


def test_what_is_left_out_reaches_nobody_and_stands_nowhere() -> None:
    cold = Finding("tank-3", "cold", True, DUSK)
    house = House("warm").told(Finding(*WARM, True, DUSK), cold)
    assert house.findings == [(cold, True)] and house.state.standing == {("tank-3", "cold")}


def test_a_remark_is_told_to_the_crew_and_makes_no_alarm() -> None:
    house = House().told(Remark("tank-3", "layering", 0.8, DUSK))
    assert house.remarks == [("tank-3", "layering", 0.8, DUSK)] and not house.findings


def test_what_is_said_of_a_probe_goes_to_the_owner_of_belief() -> None:
    house = House().told(Suspected("t3-mid", "step", DUSK), Suspected("t3-mid", "wild", DUSK))
    assert house.state.probe_states["t3-mid"].suspect == {"step", "wild"}
    house.told(Understood("t3-mid", DUSK), Cleared("t3-mid", "wild", DUSK))
    assert house.state.probe_states["t3-mid"].good(DUSK) is False, "it never answered"
    assert not house.state.probe_states["t3-mid"].suspect
    assert house.state.places["tank-3"].revised == 1


def test_work_that_nobody_logged_masks_the_product_as_if_logged() -> None:
    house = House().told(Disturbed("tank-3", "addition-seen", DUSK, DUSK + HOUR))
    books = house.state.entry_log.of("tank-3")
    assert books.masked(DUSK) == DUSK + HOUR and books.masked(DUSK + HOUR) is None
    assert [mask.why for mask in books.masks] == ["addition-seen"]


def test_dusk_falls_and_lifts() -> None:
    house = House().told(Dusk(True))
    assert house.state.dusk
    assert not house.told(Dusk(False)).state.dusk
