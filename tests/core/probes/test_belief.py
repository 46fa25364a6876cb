"""Whether a probe can be believed has one owner, and its place follows at once."""

from __future__ import annotations

import msgspec
import pytest

from kuraban.core.facts import Reading
from kuraban.core.house_state import HouseState
from kuraban.core.probes.belief import Belief, BeliefWord, Cleared, Lapsed, Suspected, Understood
from kuraban.core.site import Probe
from kuraban.core.units import HOUR, MINUTE
from tests.core.house import DUSK, brewery


class Tank:
    """Tank 3 at 10 °C; `value` is its product as its place has it."""

    def __init__(self, *more: Probe) -> None:
        house = brewery()
        self.state = HouseState(msgspec.structs.replace(house, probes=(*house.probes, *more)), DUSK)
        self.belief = Belief(self.state.probe_states, self.state.places)
        self.place = self.state.places["tank-3"]
        self.probe = self.state.probe_states["t3-mid"]
        self.hear("t3-mid", 10.0)

    def hear(self, probe: str, value: float, at: float = DUSK) -> None:
        self.state.probe_states[probe].hear(Reading(probe, at, value, at))
        self.place.refresh(at)

    def tell(self, *words: BeliefWord) -> None:
        for word in words:
            self.belief.take(word)


def test_a_suspected_probe_measures_nothing_from_that_moment() -> None:
    tank = Tank()
    tank.tell(Suspected("t3-mid", "wild", DUSK))
    assert not tank.probe.good(DUSK) and tank.place.value is None
    tank.tell(Cleared("t3-mid", "wild", DUSK))
    assert tank.probe.good(DUSK) and tank.place.value == 10.0


def test_it_is_believed_again_when_the_last_reason_is_gone() -> None:
    tank = Tank()
    tank.tell(Suspected("t3-mid", "displaced", DUSK), Suspected("t3-mid", "stuck", DUSK))
    tank.tell(Cleared("t3-mid", "displaced", DUSK))
    assert tank.place.value is None and tank.probe.suspect == {"stuck"}
    tank.tell(Cleared("t3-mid", "stuck", DUSK))
    assert tank.place.value == 10.0 and not tank.probe.suspect


def test_the_other_probe_goes_on_measuring() -> None:
    tank = Tank(Probe(id="t3-low", of="tank-3", measures="product"))
    tank.hear("t3-low", 11.0)
    assert tank.place.value == 10.5
    tank.tell(Suspected("t3-mid", "hangs-dry", DUSK))
    assert tank.place.value == 11.0


def test_a_step_that_was_the_products_makes_the_record_tell_more() -> None:
    """So whoever judges looks back on it; a doubt that ends otherwise changes no record."""
    tank = Tank()
    tank.tell(Suspected("t3-mid", "step", DUSK), Cleared("t3-mid", "step", DUSK))
    assert tank.place.revised == 0
    tank.tell(Suspected("t3-mid", "step", DUSK), Understood("t3-mid", DUSK))
    assert tank.place.revised == 1 and tank.place.value == 10.0


def test_a_step_understood_clears_nothing_else() -> None:
    tank = Tank()
    tank.tell(Suspected("t3-mid", "step", DUSK), Suspected("t3-mid", "stuck", DUSK))
    tank.tell(Understood("t3-mid", DUSK))
    assert tank.probe.suspect == {"stuck"} and tank.place.value is None


def test_one_that_answers_is_not_silent_and_may_still_be_doubted() -> None:
    """Its place is reckoned anew by whoever heard it, after the others have looked."""
    tank = Tank()
    tank.tell(Suspected("t3-mid", "silent", DUSK), Suspected("t3-mid", "out", DUSK))
    tank.belief.answers("t3-mid")
    assert tank.probe.suspect == {"out"}
    tank.tell(Cleared("t3-mid", "out", DUSK), Suspected("t3-mid", "silent", DUSK))
    tank.belief.answers("t3-mid")
    assert tank.probe.good(DUSK) and tank.place.value is None


def test_what_a_place_is_known_by_grows_old() -> None:
    tank = Tank()
    assert not tank.place.lapsed(DUSK + 10 * MINUTE) and tank.place.lapsed(DUSK + HOUR)
    tank.tell(Lapsed("tank-3", DUSK + HOUR))
    assert tank.place.value is None and not tank.place.lapsed(DUSK + HOUR)


def test_a_probe_that_is_no_products_moves_no_place() -> None:
    tank = Tank()
    before = tank.state.places["store"].value
    tank.tell(Suspected("s-air", "wild", DUSK))
    assert tank.state.probe_states["s-air"].suspect == {"wild"}
    assert tank.state.places["store"].value == before


@pytest.mark.parametrize(
    "word",
    [
        Suspected("gone", "wild", DUSK),
        Cleared("gone", "wild", DUSK),
        Understood("gone", DUSK),
        Lapsed("gone", DUSK),
    ],
)
def test_of_what_left_the_house_nothing_is_believed_or_doubted(word: BeliefWord) -> None:
    tank = Tank()
    tank.tell(word)
    assert tank.place.value == 10.0 and tank.place.revised == 0
