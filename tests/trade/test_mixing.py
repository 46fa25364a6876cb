"""Rice, koji, water and ice: energy is neither made nor lost, and the old rule is right."""

from __future__ import annotations

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from kuraban.errors import OutOfRange
from kuraban.trade.mixing import (
    STEAMED_PER_WHITE,
    STEAMED_RICE,
    WATER,
    Part,
    enough_koji_for_label,
    ice_needed,
    koji_share,
    mash_litres,
    mixed_temperature,
    needed_temperature,
    rice_temperature,
    siebel,
    swelling,
)

KOJI = 2400.0  # J/kgK of koji of 117 parts from 100, from its water (computed)

parts = st.builds(Part, st.floats(0.1, 2000), st.floats(1000, 4300), st.floats(0, 60))


def filled(rice: float, water: float, koji: float) -> list[Part]:
    """What is in the tank, from kg of white rice and koji rice and litres of water, at 7 °C."""
    return [
        Part(rice * STEAMED_PER_WHITE, STEAMED_RICE, 7),
        Part(water, 4180, 7),
        Part(koji * 1.17, KOJI, 7),
    ]


def test_equal_parts_of_water_meet_in_the_middle() -> None:
    """10 kg at 6 and 10 kg at 10 °C."""
    assert mixed_temperature([Part(10, WATER, 6), Part(10, WATER, 10)]) == pytest.approx(8)


@given(st.lists(parts, min_size=1, max_size=6), st.floats(0.01, 100))
def test_twice_the_batch_has_the_same_temperature(batch: list[Part], scale: float) -> None:
    """Scaling every mass leaves the temperature alone."""
    larger = [Part(one.kg * scale, one.specific_heat, one.celsius) for one in batch]
    assert mixed_temperature(larger) == pytest.approx(mixed_temperature(batch), abs=1e-9)


@given(st.lists(parts, min_size=2, max_size=6), st.randoms(use_true_random=False))
def test_the_order_of_additions_changes_nothing(batch: list[Part], draw: object) -> None:
    """All at once, or one by one in any order: the same energy, the same temperature."""
    at_once = mixed_temperature(batch)
    shuffled = list(batch)
    draw.shuffle(shuffled)  # type: ignore[attr-defined]
    tank = shuffled[0]
    for more in shuffled[1:]:
        kg, capacity = tank.kg + more.kg, tank.capacity + more.capacity
        tank = Part(kg, capacity / kg, mixed_temperature([tank, more]))
    assert tank.celsius == pytest.approx(at_once, abs=1e-9)
    coldest, warmest = min(p.celsius for p in batch), max(p.celsius for p in batch)
    assert coldest - 1e-9 <= at_once <= warmest + 1e-9


@given(st.lists(parts, min_size=1, max_size=4), st.floats(1, 500), st.floats(2, 40))
def test_rice_at_the_needed_temperature_brings_the_tank_to_target(
    batch: list[Part], kg: float, target: float
) -> None:
    """The reverse undoes the forward calculation."""
    celsius = needed_temperature(batch, kg, STEAMED_RICE, target)
    if -5 <= celsius <= 110:
        mixed = mixed_temperature([*batch, Part(kg, STEAMED_RICE, celsius)])
        assert mixed == pytest.approx(target, abs=1e-9)


@given(st.lists(parts, min_size=1, max_size=4), st.floats(0, 20))
@example([Part(0.1, 1000, 5e-324)], 0.0)
def test_the_needed_ice_brings_the_tank_to_target(batch: list[Part], target: float) -> None:
    """Ice of 0 °C melts and its water warms; a tank that is cold enough needs none."""
    kg = ice_needed(batch, target)
    if mixed_temperature(batch) <= target:
        assert kg == pytest.approx(0, abs=1e-9)
    else:
        assert mixed_temperature(batch, ice_kg=kg) == pytest.approx(target, abs=1e-6)


def test_a_hundred_litres_from_ten_to_four_degrees_take_seven_kilos_of_ice() -> None:
    """100 · 4.186 · 6 / (333.6 + 4.186 · 4) by hand."""
    water = [Part(100, WATER, 10)]
    assert ice_needed(water, 4) == pytest.approx(2511.6 / 350.344, rel=1e-4)


def test_more_ice_than_the_water_can_melt_is_refused() -> None:
    """10 kg at 8 °C melt one kilo, no more."""
    with pytest.raises(OutOfRange, match="cannot all melt"):
        mixed_temperature([Part(10, WATER, 8)], ice_kg=2)


def test_the_starter_rule_of_three_and_a_half() -> None:
    """Nada Sake Research Group, "Shubo mashing": target 8, water-koji 6 asks for rice at 13 °C."""
    assert rice_temperature(8, 6) == pytest.approx(13)


@pytest.mark.parametrize(
    ("stage", "before", "rice", "low", "high"),
    [
        # 35 koji, 65 rice, 90 to 110 L to the 100 kg: common practice
        ("starter", filled(0, 110, 35)[1:], 65, 3.0, 3.6),
        # trial brewing no. 3, National Research Institute of Brewing, per 100 kg of rice
        ("soe", filled(0, 25, 6)[1:], 11, 4.0, 5.0),
        ("naka", filled(11, 25 + 37, 6 + 8), 22, 5.2, 5.4),
        ("tome", filled(33, 25 + 37 + 70, 6 + 8 + 9), 44, 5.6, 5.8),
    ],
)
def test_the_factor_grows_with_every_addition(
    stage: str, before: list[Part], rice: float, low: float, high: float
) -> None:
    """3.3 for a starter (3.5 is taught), 4 to 5 soe, 5.3 naka, 5.7 tome (computed)."""
    steamed = Part(rice * STEAMED_PER_WHITE, STEAMED_RICE, 15)
    factor = 1 + sum(part.capacity for part in before) / steamed.capacity
    assert low <= factor <= high, stage


def test_at_tome_a_degree_in_the_water_counts_four_times_one_in_the_rice() -> None:
    """Target 8.0 with everything at 7.0 asks for rice at 12.7; a degree of error in the rice moves
    the tank 0.18 K, one in the liquid 0.82 K (computed)."""
    assert rice_temperature(8, 7, 5.7) == pytest.approx(12.7)
    rice, liquid = Part(1, 1000, 12.7), Part(4.7, 1000, 7)
    tank = mixed_temperature([rice, liquid])
    assert tank == pytest.approx(8)
    warm_rice = mixed_temperature([Part(1, 1000, 13.7), liquid])
    warm_liquid = mixed_temperature([rice, Part(4.7, 1000, 8)])
    assert (warm_rice - tank, warm_liquid - tank) == pytest.approx((0.18, 0.82), abs=0.006)


@pytest.mark.parametrize(("water", "kilojoules"), [(0.14, 1.31), (0.37, 2.08), (0.70, 3.18)])
def test_siebels_line(water: float, kilojoules: float) -> None:
    """Siebel 1892 (from memory): 0.837 + 3.349 w; raw rice, steamed rice, mash (computed)."""
    assert siebel(water) / 1000 == pytest.approx(kilojoules, abs=0.006)


def test_siebel_at_either_end() -> None:
    """837 J/kgK bone-dry and 4186 for water itself (Siebel 1892, from memory)."""
    assert (siebel(0), siebel(1)) == (837, 4186)


def test_a_litre_and_a_twentieth_for_every_kilo_of_rice() -> None:
    """1,300 L of water and 1,000 kg of rice make 2,350 L (common practice): tome-soku 105 %."""
    assert mash_litres(1300, 1000) == pytest.approx(2350)
    assert swelling(2350, 1300, 1000) == pytest.approx(105)


@pytest.mark.parametrize(
    ("koji", "rice", "percent"),
    [(6 + 8 + 9, 100, 23), (20, 100, 20), (35, 100, 35), (33, 100, 33), (22, 100, 22)],
)
def test_koji_shares_of_published_batches(koji: float, rice: float, percent: float) -> None:
    """Trial brewing no. 3 of the National Research Institute of Brewing, 23 %; 80 to 20; a starter
    of 35 to 65; textbook 33 % in the starter and 22 % in the mash."""
    assert koji_share(koji, rice) == pytest.approx(percent)
    assert enough_koji_for_label(koji, rice)


def test_the_label_asks_for_fifteen_percent_of_koji() -> None:
    """National Tax Agency, labelling standard for sake: 15 % is enough, 14.9 % is not."""
    assert enough_koji_for_label(150, 1000)
    assert not enough_koji_for_label(149, 1000)


def test_what_no_batch_can_be_is_refused() -> None:
    """Nothing in the tank, more koji than rice, shares that sum to more than one."""
    for wrong in (
        lambda: mixed_temperature([]),
        lambda: mixed_temperature([Part(0, WATER, 8)]),
        lambda: Part(-1, WATER, 8),
        lambda: Part(1, 0, 8),
        lambda: Part(1, WATER, 120),
        lambda: needed_temperature([Part(1, WATER, 8)], 0, WATER, 8),
        lambda: ice_needed([Part(1, WATER, 8)], -1),
        lambda: rice_temperature(8, 6, 0.5),
        lambda: siebel(1.1),
        lambda: mash_litres(-1, 100),
        lambda: swelling(100, 200, 50),
        lambda: koji_share(101, 100),
    ):
        with pytest.raises(OutOfRange):
            wrong()
