"""Where an addition lands, with the range that its figures leave."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kuraban.core import entries as e
from kuraban.core.plan.addition_temperature import (
    COLDEST,
    EMPTY,
    LOGGED,
    WHITE,
    Ends,
    Mash,
    amount_for,
    expected,
    ice_for,
    ice_instead,
    landing,
    needed,
    part_of,
    share_of,
)
from kuraban.errors import OutOfRange
from kuraban.trade.mixing import WATER, rice_by_rule

MASH = Mash(7.0, (1900.0, 2100.0))


def rice(kg: float = 440, celsius: float | None = 12.7) -> e.Addition:
    return e.Addition(what="rice", kg=kg, celsius=celsius)


def water(litres: float = 300, celsius: float = 6.0, kg: float | None = None) -> e.Addition:
    return e.Addition(what="water-koji", litres=litres, celsius=celsius, kg=kg)


def test_a_tome_lands_where_the_balance_of_heat_says() -> None:
    """Moromi at 7.0, rice at 12.7: computed from the specific heats for a tome of 440 kg."""
    found = expected(MASH, [rice()])
    assert found is not None and found.likely == pytest.approx(8.0, abs=0.05)
    assert found.least < found.likely < found.most < found.least + 1.0


def test_the_published_starter_rule_lies_within_the_range() -> None:
    """35 koji + 65 kake + 90 L at 6 for 8: the rule of 3.5 gives 13.

    Nada Sake Research Group, "Shubo mashing"; its worked example.
    """
    rule = rice_by_rule(8.0, 6.0)
    assert rule == 13.0
    found = needed(EMPTY, [water(90, 6.0, 35)], rice(65, None), 8.0)
    assert found.least < rule < found.most


def test_a_degree_in_the_rice_moves_a_tome_by_a_fifth() -> None:
    """0.18 K at a factor of 5.7 (computed)."""
    assert share_of(MASH, [rice()], rice()) == pytest.approx(1 / 5.7, abs=0.01)


def test_all_of_it_at_one_temperature_stays_there() -> None:
    found = expected(Mash(8.0, (500.0, 500.0)), [rice(100, 8.0), water(100, 8.0)])
    assert found is not None and found.likely == pytest.approx(8.0)


@given(
    st.floats(0, 30), st.floats(100, 5000), st.floats(10, 1000), st.floats(0, 40),
    st.floats(0.2, 5),
)  # fmt: skip
def test_scaling_every_mass_leaves_the_temperature_alone(
    mash: float, litres: float, kg: float, celsius: float, times: float
) -> None:
    one = expected(Mash(mash, (litres, litres)), [rice(kg, celsius)])
    many = expected(Mash(mash, (times * litres, times * litres)), [rice(times * kg, celsius)])
    assert one is not None and many is not None
    assert many.likely == pytest.approx(one.likely, abs=1e-6)
    assert many.most == pytest.approx(one.most, abs=1e-6)


@given(st.permutations([rice(), water(), e.Addition(what="ice", kg=10)]))
def test_the_order_of_additions_changes_nothing(order: list[e.Addition]) -> None:
    assert expected(MASH, order) == pytest.approx(
        expected(MASH, [rice(), water(), e.Addition(what="ice", kg=10)])
    )


@given(st.floats(0, 20), st.floats(1, 20), st.floats(50, 800))
def test_rice_at_the_temperature_asked_for_lands_on_the_target(
    mash: float, target: float, kg: float
) -> None:
    before = Mash(mash, (1000.0, 1000.0))
    found = needed(before, [], rice(kg, None), target)
    if 0 <= found.likely <= 100:
        landed = expected(before, [rice(kg, found.likely)])
        assert landed is not None and landed.likely == pytest.approx(target, abs=1e-6)


def test_ice_brings_it_down_to_the_target() -> None:
    """Heat of the whole: what melts is what was too much."""
    kg = ice_for(MASH, [rice(440, 15.0)], 7.5).likely
    landed = expected(MASH, [rice(440, 15.0), e.Addition(what="ice", kg=kg)])
    assert landed is not None and landed.likely == pytest.approx(7.5, abs=1e-6)


@pytest.mark.parametrize(
    "addition",
    [
        e.Addition(what="rice", kg=100),
        e.Addition(what="rice", celsius=10),
        e.Addition(what="ice", kg=90_000),
        e.Addition(what="rice", kg=100, celsius=-40),
    ],
)
def test_without_its_figures_or_with_impossible_ones_nothing_is_expected(
    addition: e.Addition,
) -> None:
    """So much ice cannot melt, and no rice is so cold."""
    assert expected(MASH, [addition]) is None


def test_heat_of_water_is_its_mass() -> None:
    part = part_of(e.Addition(what="late-water", litres=40, celsius=5))
    assert part is not None and part.capacity == pytest.approx(40 * WATER)
    assert part.celsius == 5


@pytest.mark.parametrize(
    ("addition", "capacity"),
    [
        (e.Addition(what="rice", kg=100, celsius=5), 100 * 1.38 * 2600),
        (e.Addition(what="water-koji", litres=90, kg=35, celsius=5), 90 * 4186 + 35 * 1.17 * 2385),
        (e.Addition(what="starter", litres=60, celsius=5), 60 * 3700),
        (e.Addition(what="yodan", litres=60, celsius=5), 60 * 3700),
        (e.Addition(what="alcohol", litres=50, celsius=5), 50 * 4140),
        (e.Addition(what="yeast", litres=1, celsius=5), 4186),
        (e.Addition(what="ice", kg=10), 10 * 4186),
        (e.Addition(what="ice", litres=11), 11 * 4186),
        (e.Addition(what="ice", kg=10, litres=11), 10 * 4186),
        (e.Addition(what="water-koji", litres=90, celsius=5), 90 * 4186),
    ],
)
def test_every_ingredient_brings_its_heat(addition: e.Addition, capacity: float) -> None:
    """J/K by hand from what `tests/trade` holds against tables; spirit is that of 30 %."""
    part = part_of(addition)
    assert part is not None and part.capacity == pytest.approx(capacity, rel=1e-6)


@pytest.mark.parametrize(
    ("ends", "least", "most"), [(LOGGED, 7.5078, 8.3420), (WHITE, 7.6607, 8.2773)]
)
def test_the_range_is_that_of_its_ends(ends: Ends, least: float, most: float) -> None:
    """440 kg at 12.7 ± 1 °C onto 1,900 to 2,100 L at 7.0 °C of 3.7 kJ/LK, by hand: logged from 1.0
    kg/kg of 2140 J/kgK to 1.38 of 2900; white from 1.35 of 2140 to 1.42 of 2650."""
    found = landing(MASH, [rice()], ends)
    assert (found.least, found.most) == pytest.approx((least, most), abs=6e-4)


def test_half_a_degree_in_the_water_moves_its_share() -> None:
    """300 L at 6 ± 0.5 °C onto as much mash at 10 °C: 4186 / 7886 of half a degree, by hand."""
    mash = Mash(10.0, (300.0, 300.0))
    found = expected(mash, [water(300, 6.0)])
    assert found is not None
    assert found.most - found.likely == pytest.approx(0.2654, abs=5e-4)


@given(st.floats(1, 20), st.floats(2, 25), st.floats(10, 800))
def test_the_amount_asked_for_lands_on_the_target(mash: float, celsius: float, kg: float) -> None:
    """So much more rice, or less."""
    before = Mash(mash, (1000.0, 1000.0))
    landed = expected(before, [rice(kg, celsius)])
    assert landed is not None
    if abs(landed.likely - celsius) > 0.5 and abs(landed.likely - mash) > 0.05:
        found = amount_for(before, [], rice(1.0, celsius), landed.likely)
        assert found.likely == pytest.approx(kg, rel=1e-6)


def test_nothing_at_all_has_no_temperature() -> None:
    with pytest.raises(OutOfRange):
        ice_for(EMPTY, [], 5.0)


def test_what_may_be_warmer_than_told_is_warmer() -> None:
    """A degree in rice, half a degree in a water."""
    for what, figures, doubt in (
        ("rice", {"kg": 100.0}, 1.0), ("late-water", {"litres": 100.0}, 0.5),
    ):  # fmt: skip
        addition = e.Addition(what=what, celsius=20.0, **figures)  # type: ignore[arg-type]
        for off in (-1, 0, 1):
            part = part_of(addition, off=off)
            assert part is not None and part.celsius == 20.0 + off * doubt


@pytest.mark.parametrize("celsius", [None, 0.0])
def test_ice_of_which_nobody_says_how_cold_it_is_has_just_begun_to_melt(
    celsius: float | None,
) -> None:
    """334 kJ/kg, and no colder than water can be made."""
    part = part_of(e.Addition(what="ice", kg=1.0, celsius=celsius))
    assert part is not None and part.celsius == COLDEST
    assert part.latent == pytest.approx(334e3, rel=2e-3)


def test_ice_in_the_place_of_water_brings_it_down_to_the_target() -> None:
    """Each kilogram for a litre of the 6 °C water that does not go in then."""
    kg = ice_instead(MASH, [rice(440, 15.0), water(300, 6.0)], 6.0, 7.5).likely
    less = [rice(440, 15.0), water(300 - kg, 6.0), e.Addition(what="ice", kg=kg)]
    landed = expected(MASH, less)
    assert kg > 10 and landed is not None
    assert landed.likely == pytest.approx(7.5, abs=1e-6)


def test_what_is_as_cold_already_needs_no_ice() -> None:
    assert ice_for(MASH, [rice()], 9.0) == (0.0, 0.0, 0.0)
    assert ice_instead(MASH, [rice(), water()], 6.0, 9.0) == (0.0, 0.0, 0.0)
