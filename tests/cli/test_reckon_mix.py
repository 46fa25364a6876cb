"""Mixing as it is typed at the tank: where it lands, how warm, how much."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tests.cli.conftest import Type

ADVICE = "the face, nose and tongue of the brewer come first"


def test_a_mixture_lands_with_its_range_and_says_what_it_rests_on(type_in: Type) -> None:
    """Moromi at 7.0 and rice at 12.7 make 8.0 (computed)."""
    shown = type_in("reckon", "mix", "moromi=2000@7.0", "rice=440@12.7")
    assert shown.exit_code == 0, shown.stderr
    assert "仕込温度) at 8.0 °C (7.7 to 8.3)" in shown.output
    for part in ("rests on:", "source:", ADVICE, "moves it 0.18 K", "lopsided", "divide by 1.38"):
        assert part in shown.output


@pytest.mark.parametrize(
    ("words", "celsius"),
    [
        (("moromi=2000@10", "late-water=100@8"), 9.9),
        (("moromi=2000@10", "ice=20"), 9.0),
        (("moromi=2000@10", "yodan=200@55"), 14.1),
        (("moromi=2000@10", "water=100@90"), 14.3),
        (("water-koji=250+60@8", "starter=60@10"), 8.3),
        (("water=100@20", "ice=20"), 3.4),
        (("moromi=1000@10", "alcohol=100@15"), 10.5),
        (("moromi=2000@10", "lactic-acid=2@10", "yeast=1@12"), 10.0),
        (("moromi=1000@12", "ice=20@-18"), 9.8),
    ],
)
def test_every_landing_that_can_be_logged_can_be_asked(
    words: tuple[str, ...], celsius: float, type_in: Type
) -> None:
    """By hand, with 4.186 kJ/K a litre of water, 3.7 of mash, 4.14 of spirit, 333.6 kJ a kg of
    ice: (2000 · 3.7 · 10 + 100 · 4.186 · 8) / (7400 + 418.6) = 9.89, and so on."""
    shown = type_in("reckon", "mix", *words)
    assert shown.exit_code == 0, shown.stderr
    assert f"at {celsius:.1f} °C" in shown.output
    assert "lopsided" not in shown.output, "there is no rice in it"


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("moromi=2000@7.0", "rice=440@?"), "蒸米) must have 12.7 °C"),
        (("moromi=2000@?", "rice=440@12.7"), "Mash (醪) must have 7.0 °C"),
        (("moromi=2000@7.0", "rice=?@12.7"), "蒸米): 439 kg"),
        (("moromi=?@7.0", "rice=440@12.7"), "Mash (醪): 2005 L"),
        (("moromi=2000@9", "water=?@2"), "water: 295 L"),
        (("moromi=2000@9", "water=300@?"), "water must have 2.1 °C"),
        (("moromi=2000@9", "ice=?"), "氷): 20.2 kg"),
        (("water-koji=90+35@?", "rice=65@13"), "水麹) must have 5.5 °C"),
        (("water-koji=?+35@6", "rice=65@13"), "水麹): 116 L"),
    ],
)
def test_any_one_figure_can_be_asked_for(words: tuple[str, ...], told: str, type_in: Type) -> None:
    """All land at 8.0: each is what the others of its kind give back."""
    shown = type_in("reckon", "mix", *words, "--target", "8.0")
    assert shown.exit_code == 0, shown.stderr
    assert told in shown.output and "to land at 8.0 °C" in shown.output


def test_the_factor_is_that_of_this_batch(type_in: Type) -> None:
    """At tome 5.7 (computed), with nothing printed of other stages."""
    shown = type_in("reckon", "mix", "moromi=2000@7.0", "rice=440@?", "--target", "8.0").output
    assert "factor (掛け) 5.7" in shown
    assert "soe" not in shown and "3.5" not in shown


def test_a_starter_is_told_what_the_rule_says_beside_its_own_figure(type_in: Type) -> None:
    """8 wanted, water-koji at 6: rice at 13. Nada Sake Research Group, "Shubo mashing"."""
    shown = type_in("reckon", "mix", "water-koji=90+35@6", "rice=65@?", "--target", "8").output
    assert "factor 3.5, says 13.0 °C" in shown and "knows no litres" in shown
    found = re.search(r"must have (\S+) °C \((\S+) to (\S+)\)", shown)
    assert found is not None
    likely, low, high = map(float, found.groups())
    assert low < likely < 13.0 < high


def test_ice_comes_with_as_much_water_off(type_in: Type) -> None:
    shown = type_in("reckon", "mix", "moromi=2000@7.0", "rice=440@15", "ice=?", "--target", "7.5")
    assert "Ice (氷): 22.3 kg" in shown.output and "Take as much water off" in shown.output
    assert "Take as much water off" in type_in("reckon", "mix", "moromi=90@9", "ice=2").output
    warm = type_in("reckon", "mix", "moromi=2000@5", "ice=?", "--target", "8")
    assert "that cold without ice" in warm.output


def test_spirit_is_told_with_its_strength_and_a_caution(type_in: Type) -> None:
    shown = type_in("reckon", "mix", "moromi=1000@10", "alcohol=100@15").output
    assert "Spirit of 30 %" in shown and "Keep flames away" in shown


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("moromi=2000@9", "rice=440@?", "--target", "6"), "kg of ice"),
        (("moromi=2000@5", "rice=100@?", "--target", "9"), "too cold for this target"),
        (("moromi=2000@9", "rice=440@?"), "say where it should land"),
        (("moromi=2000@9", "rice=440@8", "--target", "8"), "nothing is asked for"),
        (("moromi=2000@7", "water=?@20", "--target", "6"), "has to lie beyond the target"),
        (("moromi=2000@7", "water=?@6", "--target", "6"), "no amount of it helps"),
        (("gravel=3@4",), "write moromi"),
        (("rice=x@4",), "rice=440@12.7"),
        (("rice=440",), "lacks a temperature"),
        (("rice=?@?", "--target", "6"), "lacks a temperature or an amount"),
        (("rice=3@?", "water=3@?", "--target", "6"), "leave one ?"),
        (("moromi=100@5", "rice=10@10", "ice=500"), "more of it than can melt"),
        (("moromi=100@5", "ice=5@3"), "ice temperature: 3 °C is not possible"),
        (("rice=0@4",), "heat capacity"),
    ],
)
def test_a_mixture_beyond_what_is_possible_is_refused_in_one_line(
    words: tuple[str, ...], told: str, type_in: Type
) -> None:
    refused = type_in("reckon", "mix", *words)
    assert refused.exit_code == 2 and told in refused.stderr
    assert len(refused.stderr.strip().splitlines()) == 1


def test_ice_in_the_place_of_water_is_told(type_in: Type) -> None:
    """100 L at 10 °C to be 5 °C: x (333.6 + 41.86) = 100 · 4.186 · 5, by hand."""
    shown = type_in("reckon", "mix", "water=100@10", "ice=?", "--target", "5").output
    assert "In the place of as much water: 5.6 kg" in shown and "94 L of it" in shown


def test_room_in_a_tank_is_told_with_the_foam(type_in: Type, tmp_path: Path) -> None:
    """By litres, and by a dip where the site file has a table; two mistakes are named."""
    site = tmp_path / "site.toml"
    table = '[[place]]\nid = "{}"\nkind = "tank"\nname = "{}"\n{}\n'
    site.write_text(
        table.format("big", "Big", "dip = [[0, 3020], [20, 2680], [60, 1990], [150, 410]]")
        + table.format("plain", "Plain", "litres = 2800"),
        encoding="utf-8",
    )
    shown = type_in("reckon", "room", "big", "rice=300@12", "--dip", "40", "--site", site)
    assert shown.exit_code == 0, shown.stderr
    for part in ("2650 L of 3020", "238 L to the brim", "22 cm below the rim", "1510 to 2265 L",
                 "Nobody leans or climbs in"):  # fmt: skip
        assert part in shown.output
    full = type_in("reckon", "room", "plain", "moromi=2700@7", "--site", site).output
    assert "RUNS OVER by 35 L" in full and "below the rim" not in full
    for wrong in (("plain", "--dip", "40"), ("nowhere",)):
        assert type_in("reckon", "room", *wrong, "--site", site).exit_code == 2
