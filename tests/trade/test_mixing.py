"""Rice, koji, water and ice: energy is neither made nor lost, and the old rule is right."""

from __future__ import annotations

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from kuraban.errors import OutOfRange
from kuraban.trade.mixing import (
    ICE,
    KOJI,
    KOJI_PER_WHITE,
    LABEL_KOJI_SHARE,
    LITRES_PER_KG_RICE,
    MELTING,
    SPIRIT,
    STEAMED_PER_WHITE,
    STEAMED_RICE,
    WATER,
    Part,
    choi_okos,
    ice,
    koji_share,
    mash_litres,
    mixed_temperature,
    needed_amount,
    needed_temperature,
    rice_by_rule,
    swelling,
)
from tests.trade.fluids import props

parts = st.builds(Part, st.floats(100, 8e6), st.floats(0, 60))


def water(kg: float, celsius: float) -> Part:
    return Part(kg * WATER, celsius)


def filled(rice: float, litres: float, koji: float) -> list[Part]:
    """What is in the tank, from kg of white rice and koji rice and litres of water, at 7 °C."""
    return [
        Part(rice * STEAMED_PER_WHITE * STEAMED_RICE, 7),
        Part(litres * 4180, 7),
        Part(koji * KOJI_PER_WHITE * KOJI, 7),
    ]


# ------------------------------------------------------------------------------- what things hold


def test_a_kilogram_of_water_holds_what_the_steam_tables_say() -> None:
    """IAPWS-95 by CoolProp: from 5 to 60 °C within 0.5 %, at 15 °C within 0.1 %."""
    exact = [props("C", "T", t + 273.15, "P", 101_325, "Water") for t in (5, 15, 60)]
    assert pytest.approx(exact, rel=5e-3) == [WATER] * 3
    assert pytest.approx(exact[1], rel=1e-3) == WATER


def test_ice_melts_and_warms_as_the_handbook_says() -> None:
    """S5: 333.6 kJ/kg at 0 °C, 2.10 kJ/kgK just below; 6.01 kJ/mol of 18.015 g."""
    assert pytest.approx(333_600, rel=1e-3) == MELTING
    assert pytest.approx(6010 / 0.018015, rel=1e-3) == MELTING
    assert pytest.approx(2100, rel=4e-3) == ICE


# S7, J/kgK of water, carbohydrate and protein at 0, 20 and 40 °C, by hand from its polynomials
ASHRAE = {
    0: (4176.2, 1548.8, 2008.2),
    20: (4176.57, 1585.67, 2031.85),
    40: (4181.32, 1617.80, 2054.46),
}


@pytest.mark.parametrize(("celsius", "each"), ASHRAE.items())
def test_choi_and_okos_by_hand(celsius: int, each: tuple[float, float, float]) -> None:
    """ASHRAE Refrigeration, "Thermal properties of foods", table of Choi and Okos (from memory)."""
    pure = [
        choi_okos(celsius, water=w, carbohydrate=c, protein=p)
        for w, c, p in ((1, 0, 0), (0, 1, 0), (0, 0, 1))
    ]
    assert pure == pytest.approx(each, abs=0.02)


@pytest.mark.parametrize(
    ("water", "carbohydrate", "protein", "at_100"),
    [(1, 0, 0, 4221.84), (0, 1, 0, 1685.65), (0, 0, 1, 2115.96)],
)
def test_choi_and_okos_at_boiling_point(
    water: float, carbohydrate: float, protein: float, at_100: float
) -> None:
    """Each polynomial by hand; boiling water has 4216 (IAPWS-95)."""
    ours = choi_okos(100, water=water, carbohydrate=carbohydrate, protein=protein)
    assert ours == pytest.approx(at_100, abs=0.006)


def test_steamed_rice_and_koji_hold_what_their_water_says() -> None:
    """At 39 % of water and 10 °C, and 30 % and 20 °C, protein 7 % of the rest; by hand from S7:
    0.39 · 4175.8 + 0.5673 · 1567.8 + 0.0427 · 2020.2 = 2604, and 0.30 · 4176.6 + 0.651 · 1585.7
    + 0.049 · 2031.9 = 2385. Siebel 1892 gives 837 + 3349 · 0.39 = 2143 for the rice."""
    assert pytest.approx(2604, abs=6) == STEAMED_RICE
    assert pytest.approx(2385, abs=4) == KOJI


def test_spirit_of_thirty_per_cent_holds_almost_what_water_holds() -> None:
    """By CoolProp (Melinder 2010): 24.7 % by mass at 15 °C."""
    density, each = (
        props(name, "T", 288.15, "P", 101_325, "INCOMP::MEA[0.24678]") for name in ("D", "C")
    )
    assert pytest.approx(density / 1000 * each, rel=1e-3) == SPIRIT


def test_weights_of_rice_that_houses_share() -> None:
    """Common practice: 1.38 kg of steamed and cooled rice, 1.17 of koji; a ginjo recipe (S8) has
    1.41 to 1.42 as steamed, 1.33 dried and 1.17 as koji. A litre and a twentieth of mash."""
    assert 1.33 < STEAMED_PER_WHITE == 1.38 < 1.41
    assert KOJI_PER_WHITE == 1.17
    assert LITRES_PER_KG_RICE == 1.05


# ----------------------------------------------------------------------------------------- mixing


def test_equal_parts_of_water_meet_in_the_middle() -> None:
    """10 kg at 6 and 10 kg at 10 °C."""
    assert mixed_temperature([water(10, 6), water(10, 10)]) == pytest.approx(8)


@given(st.lists(parts, min_size=1, max_size=6), st.floats(0.01, 100))
def test_twice_the_batch_has_the_same_temperature(batch: list[Part], scale: float) -> None:
    """Scaling every mass leaves the temperature alone."""
    larger = [Part(one.capacity * scale, one.celsius) for one in batch]
    assert mixed_temperature(larger) == pytest.approx(mixed_temperature(batch), abs=1e-9)


@given(st.lists(parts, min_size=2, max_size=6), st.randoms(use_true_random=False))
def test_the_order_of_additions_changes_nothing(batch: list[Part], draw: object) -> None:
    """All at once, or one by one in any order: the same energy, the same temperature."""
    at_once = mixed_temperature(batch)
    shuffled = list(batch)
    draw.shuffle(shuffled)  # type: ignore[attr-defined]
    tank = shuffled[0]
    for more in shuffled[1:]:
        tank = Part(tank.capacity + more.capacity, mixed_temperature([tank, more]))
    assert tank.celsius == pytest.approx(at_once, abs=1e-9)
    coldest, warmest = min(p.celsius for p in batch), max(p.celsius for p in batch)
    assert coldest - 1e-9 <= at_once <= warmest + 1e-9


@given(st.lists(parts, min_size=1, max_size=4), st.floats(1000, 1e6), st.floats(2, 40))
def test_rice_at_the_needed_temperature_brings_the_tank_to_target(
    batch: list[Part], capacity: float, target: float
) -> None:
    """The reverse undoes the forward calculation."""
    celsius = needed_temperature(batch, capacity, target)
    if -5 <= celsius <= 110:
        mixed = mixed_temperature([*batch, Part(capacity, celsius)])
        assert mixed == pytest.approx(target, abs=1e-9)


@given(st.lists(parts, min_size=1, max_size=4), st.floats(0, 60), st.floats(1, 40))
def test_the_needed_amount_brings_the_tank_to_target(
    batch: list[Part], celsius: float, target: float
) -> None:
    """Of rice or water at any temperature but the target; negative where none helps."""
    if abs(celsius - target) > 0.1:
        kg = needed_amount(batch, water(1, celsius), target)
        if kg >= 0:
            mixed = mixed_temperature([*batch, water(kg, celsius)])
            assert mixed == pytest.approx(target, abs=1e-6)
        else:
            assert (mixed_temperature(batch) - target) * (celsius - target) > 0


@given(st.lists(parts, min_size=1, max_size=4), st.floats(0, 20), st.floats(-30, 0))
@example([Part(100.0, 5e-324)], 0.0, 0.0)
def test_the_needed_ice_brings_the_tank_to_target(
    batch: list[Part], target: float, celsius: float
) -> None:
    """It warms, melts, and its water warms; a tank that is cold enough needs none."""
    kg = needed_amount(batch, ice(1, celsius), target)
    if mixed_temperature(batch) <= target:
        assert kg <= 1e-9
    else:
        assert mixed_temperature([*batch, ice(kg, celsius)]) == pytest.approx(target, abs=1e-6)


def test_a_hundred_litres_from_ten_to_four_degrees_take_seven_kilos_of_ice() -> None:
    """100 · 4.186 · 6 / (333.6 + 4.186 · 4) by hand; ice of -10 °C saves 6 %."""
    tank = [water(100, 10)]
    assert needed_amount(tank, ice(1), 4) == pytest.approx(2511.6 / 350.344, rel=1e-4)
    saved = 1 - needed_amount(tank, ice(1, -10), 4) / needed_amount(tank, ice(1), 4)
    assert saved == pytest.approx(21_000 / (333_600 + 4 * 4186 + 21_000))


def test_more_ice_than_the_water_can_melt_is_refused() -> None:
    """10 kg at 8 °C melt one kilo, no more."""
    with pytest.raises(OutOfRange, match="more of it than can melt"):
        mixed_temperature([water(10, 8), ice(2)])


def test_the_starter_rule_of_three_and_a_half() -> None:
    """Nada Sake Research Group, "Shubo mashing": target 8, water-koji 6 asks for rice at 13 °C."""
    assert rice_by_rule(8, 6) == pytest.approx(13)


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
    steamed = rice * STEAMED_PER_WHITE * STEAMED_RICE
    factor = 1 + sum(part.capacity for part in before) / steamed
    assert low <= factor <= high, stage
    by_factor = 7 + factor * (9 - 7)
    assert needed_temperature(before, steamed, 9) == pytest.approx(by_factor)


def test_at_tome_a_degree_in_the_water_counts_four_times_one_in_the_rice() -> None:
    """Target 8.0 with everything at 7.0 asks for rice at 12.7; a degree of error in the rice moves
    the tank 0.18 K, one in the liquid 0.82 K (computed)."""
    rice, liquid = Part(1000, 12.7), Part(4700, 7)
    tank = mixed_temperature([rice, liquid])
    assert tank == pytest.approx(8)
    warm_rice = mixed_temperature([Part(1000, 13.7), liquid])
    warm_liquid = mixed_temperature([rice, Part(4700, 8)])
    assert (warm_rice - tank, warm_liquid - tank) == pytest.approx((0.18, 0.82), abs=0.006)


# -------------------------------------------------------------------------------------- quantities


def test_a_litre_and_a_twentieth_for_every_kilo_of_rice() -> None:
    """1,300 L of water and 1,000 kg of rice make 2,350 L: tome-soku 105 % (S13)."""
    assert mash_litres(1300, 1000) == pytest.approx(2350)
    assert swelling(2350, 1300, 1000) == pytest.approx(105)


@pytest.mark.parametrize(
    ("koji", "rice", "percent"),
    [(23, 100, 23.0), (35, 100, 35.0), (14.9, 100, 14.9), (15, 100, 15.0)],
)
def test_koji_share_is_koji_rice_of_all_rice(koji: float, rice: float, percent: float) -> None:
    """Trial brewing no. 3 has 23 % (National Research Institute of Brewing); a starter 33 to 35."""
    assert koji_share(koji, rice) == pytest.approx(percent)


def test_a_label_asks_for_fifteen_per_cent_of_koji() -> None:
    """National Tax Agency, labelling standard for sake."""
    assert LABEL_KOJI_SHARE == 15.0


def test_what_no_batch_can_be_is_refused() -> None:
    """Nothing in the tank, too little rice, a mash without its water, shares that do not add up."""
    for wrong in (
        lambda: mixed_temperature([]),
        lambda: mixed_temperature([water(0, 8)]),
        lambda: Part(-1, 8),
        lambda: Part(1, 200),
        lambda: Part(1, 8, -1),
        lambda: ice(1, 2),
        lambda: needed_temperature([water(1, 8)], 0, 4),
        lambda: needed_amount([water(1, 8)], water(1, 4), 4),
        lambda: rice_by_rule(99, 6),
        lambda: choi_okos(20, water=0.5, carbohydrate=0.6, protein=0),
        lambda: mash_litres(-1, 100),
        lambda: swelling(100, 200, 50),
        lambda: koji_share(5, 4),
    ):
        with pytest.raises(OutOfRange):
            wrong()
