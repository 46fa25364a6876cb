"""Spirit before pressing, against the labelling standard, its readers, and densities."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kuraban.errors import OutOfRange
from kuraban.trade.heat import LIQUID_SHARE
from kuraban.trade.liquids import alcohol_density, by_mass
from kuraban.trade.spirit import (
    COUNTED_AT,
    LABEL_SPIRIT,
    pure_litres_allowed,
    spirit_for,
    strength_after,
)


def test_the_labelling_standard_allows_116_litres_a_tonne() -> None:
    """S10: a tenth of the rice's weight comes to 116 L of pure alcohol a tonne; S11: five tenths,
    500 kg, to 582 L. Half a per cent of either constant would be 0.6 and 2.9 L."""
    assert pure_litres_allowed(1000) == pytest.approx(116.4, abs=0.1)
    assert 5 * pure_litres_allowed(1000) == pytest.approx(582, abs=0.5)
    assert (LABEL_SPIRIT, COUNTED_AT) == (0.10, 95.0)


@pytest.mark.parametrize(
    ("litres", "within_it"), [(104.5, True), (114.9, True), (225.2, False), (626.5, False)]
)
def test_what_breweries_used_in_a_year(litres: float, within_it: bool) -> None:
    """S12, litres of pure alcohol a tonne of white rice in the brewing year 2005: ginjo, honjozo,
    ordinary sake, and what was stretched threefold."""
    assert (litres <= pure_litres_allowed(1000)) is within_it


def test_a_brewers_own_reckoning_of_honjozo() -> None:
    """S13: 386 L of 30 % to a tonne of rice, just within the cap."""
    assert pytest.approx(pure_litres_allowed(1000), rel=0.006) == 0.30 * 386
    assert pure_litres_allowed(1000) > 0.30 * 386


def test_alcohol_is_neither_made_nor_lost() -> None:
    """2,000 L of 18 %, 85 % of it liquid, and 300 L of 30 %: 306 L and 90 L of pure alcohol in
    2,000 L of liquid, by hand 19.8 %."""
    assert strength_after(2000, 18, 300, 30) == pytest.approx(19.8)
    assert spirit_for(2000, 18, 30, 19.8) == pytest.approx(300)
    assert LIQUID_SHARE == 0.85


@pytest.mark.parametrize(("alcohol", "spirit"), [(17.0, 100.0), (18.0, 200.0), (15.0, 300.0)])
def test_shrinking_makes_a_tenth_of_a_per_cent_at_most(alcohol: float, spirit: float) -> None:
    """By weight, with the densities of OIML R 22 at 15 °C: 1,000 L of alcohol in water and so many
    litres of 30 %."""
    parts = [(1.0, alcohol), (spirit / 1000, 30.0)]
    weights = [litres * alcohol_density(by_mass(p), 15) for litres, p in parts]
    ethanol = sum(w * by_mass(p) for w, (_, p) in zip(weights, parts, strict=True))
    share = ethanol / sum(weights)
    true = 100 * share * alcohol_density(share, 15) / alcohol_density(1, 15)
    ours = strength_after(1000 / LIQUID_SHARE, alcohol, spirit, 30)
    assert 0 <= true - ours < 0.1


@given(st.floats(100, 10_000), st.floats(5, 19), st.floats(25, 96), st.floats(0.1, 2))
def test_what_is_asked_for_is_reached(
    mash: float, alcohol: float, percent: float, more: float
) -> None:
    litres = spirit_for(mash, alcohol, percent, alcohol + more)
    assert strength_after(mash, alcohol, litres, percent) == pytest.approx(alcohol + more)


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: pure_litres_allowed(0), lambda: strength_after(0, 18, 10, 30),
        lambda: strength_after(100, 25, 10, 30), lambda: strength_after(100, 18, -1, 30),
        lambda: strength_after(100, 18, 1, 99), lambda: spirit_for(100, 18, 30, 17),
        lambda: spirit_for(100, 18, 19, 20), lambda: spirit_for(100, 18, 30, 23),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused(wrong: object) -> None:
    with pytest.raises(OutOfRange):
        wrong()  # type: ignore[operator]
