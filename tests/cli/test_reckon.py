"""The brewer's arithmetic as it is typed at the tank."""

from __future__ import annotations

import pytest

from tests.cli.conftest import Type

ADVICE = "the face, nose and tongue of the brewer come first"


def test_a_mixture_lands_with_its_range_and_says_what_it_rests_on(type_in: Type) -> None:
    """Moromi at 7.0 and rice at 12.7 make 8.0 (computed)."""
    shown = type_in("reckon", "mix", "moromi=2000@7.0", "rice=440@12.7")
    assert shown.exit_code == 0, shown.stderr
    assert "仕込温度) at 8.0 °C (7." in shown.output
    for part in ("rests on:", "source:", ADVICE, "moves it 0.18 K"):
        assert part in shown.output


def test_the_rice_is_asked_for(type_in: Type) -> None:
    shown = type_in("reckon", "mix", "moromi=2000@7.0", "rice=440@?", "--target", "8.0")
    assert "蒸米) must have 12.7 °C" in shown.output and "factor (掛け) 5.7" in shown.output


def test_the_starter_rule_of_three_and_a_half_lies_in_the_range(type_in: Type) -> None:
    """8 wanted, water-koji at 6: rice at 13. Nada Sake Research Group, "Shubo mashing"."""
    shown = type_in("reckon", "mix", "water-koji=90+35@6", "rice=65@?", "--target", "8")
    low, high = shown.output.split("(")[2].split(")")[0].split(" to ")
    assert float(low) < 13.0 < float(high)


def test_ice_is_asked_for(type_in: Type) -> None:
    shown = type_in("reckon", "mix", "moromi=2000@7.0", "rice=440@15", "ice=?", "--target", "7.5")
    assert "Ice (氷): 22.3 kg" in shown.output
    warm = type_in("reckon", "mix", "moromi=2000@5", "ice=?", "--target", "8")
    assert "that cold without ice" in warm.output


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("moromi=2000@9", "rice=440@?", "--target", "6"), "kg of ice"),
        (("moromi=2000@5", "rice=100@?", "--target", "9"), "too cold for this target"),
        (("moromi=2000@9", "rice=440@?"), "say where it should land"),
        (("gravel=3@4",), "write moromi"),
        (("rice=x@4",), "rice=440@12.7"),
        (("rice=3@?", "water=3@?", "--target", "6"), "leave one ?"),
        (("moromi=100@5", "rice=10@10", "ice=500"), "more ice than can melt"),
    ],
)
def test_a_mixture_beyond_what_is_possible_is_refused_in_one_line(
    words: tuple[str, ...], told: str, type_in: Type
) -> None:
    refused = type_in("reckon", "mix", *words)
    assert refused.exit_code == 2 and told in refused.stderr
    assert len(refused.stderr.strip().splitlines()) == 1


def test_the_official_trial_has_its_proportions(type_in: Type) -> None:
    """Per 100 kg: 17, 30, 53 of rice, koji 23 %.

    National Research Institute of Brewing, stockpiled-rice trial brewing no. 3.
    """
    shown = type_in("reckon", "share", "11+6+25", "22+8+37", "44+9+70", "--size", 240).output
    for part in ("17 %", "30 %", "53 %", "Koji share (麹歩合) 23.0 %", "enough", "% full"):
        assert part in shown


def test_too_little_koji_is_warned_about(type_in: Type) -> None:
    """At least 15 % for specified names: National Tax Agency, labelling standard for sake."""
    assert "BELOW the 15 %" in type_in("reckon", "share", "30+3+40").output
    assert "enough" in type_in("reckon", "share", "17+3+25").output


def test_a_tank_that_runs_over_and_a_probe_that_hangs_dry_are_told(type_in: Type) -> None:
    shown = type_in(
        "reckon", "share", "11+6+25", "22+8+37", "44+9+70", "--size", 200, "--dry-below", 60
    ).output
    words = " ".join(shown.split())
    assert "RUNS OVER" in words and "hangs dry" in words and "under the surface" in words


@pytest.mark.parametrize("typed", ["11+6", "0+0+3", "a+b+c", "-1+6+25"])
def test_three_amounts_are_three_amounts(typed: str, type_in: Type) -> None:
    assert type_in("reckon", "share", "--", typed).exit_code == 2


def test_the_koji_rooms_air_by_two_bulbs_and_back(type_in: Type) -> None:
    """30 and 25 °C make 67 %: JIS Z 8806."""
    shown = type_in("reckon", "rh", 30, 25).output
    assert "67 % (6" in shown and "depression (乾湿差) 5.0 K" in shown
    assert "Wet bulb (湿球) 25.0 °C" in type_in("reckon", "rh", 30, "--humidity", 66.8).output


def test_a_mountain_and_a_wick_without_wind_change_it(type_in: Type) -> None:
    still = type_in("reckon", "rh", 35, 30, "--draught", "still", "--altitude", 1000).output
    assert "still draught, 1000 m" in still


def test_a_wick_that_may_be_dry_is_asked_about(type_in: Type) -> None:
    assert "wick may be dry" in type_in("reckon", "rh", 31, 30.8).output
    assert "wick" not in type_in("reckon", "rh", 31, 27).output


@pytest.mark.parametrize(
    "words",
    [("35",), ("35", "30", "--humidity", "5"), ("30", "35"), ("35", "30", "--draught", "x")],
)
def test_air_that_cannot_be_is_refused(words: tuple[str, ...], type_in: Type) -> None:
    assert type_in("reckon", "rh", *words).exit_code == 2


def test_an_ice_bath_gives_a_line_for_the_site_file(type_in: Type) -> None:
    """Ice point as ASTM E563."""
    shown = type_in("reckon", "ice-point", 0.12, 0.12, 0.19, 0.12, 0.06).output
    assert "offset = -0.12" in shown and "±0.1" in shown and "35 °C" in shown
    again = type_in("reckon", "ice-point", "--now", -0.12, 0.0, 0.06, 0.0, 0.06, 0.06).output
    assert "offset = -0.18" in again
    assert "replace it" in type_in("reckon", "ice-point", 1.2, 1.2, 1.2, 1.2, 1.2).output


def test_a_warm_bath_is_no_ice(type_in: Type) -> None:
    refused = type_in("reckon", "ice-point", 5, 5, 5, 5, 5)
    assert refused.exit_code == 2 and "an ice bath reads within 3 of 0" in refused.stderr


@pytest.mark.parametrize("words", [("--smv", "-30"), ("--baume", "3"), ("--sg", "1.021226")])
def test_smv_baume_and_gravity_are_one_thing(words: tuple[str, ...], type_in: Type) -> None:
    """SMV -30 is Baume 3 and SG 1.0212: Measurement Act; Nada glossary, "SMV"."""
    shown = type_in("reckon", "smv", *words).output
    assert "−30.0" in shown and "3.00" in shown and "1.0212" in shown


def test_one_figure_at_a_time(type_in: Type) -> None:
    assert type_in("reckon", "smv", "--smv", "-30", "--baume", "3").exit_code == 2


def test_a_warm_hydrometer_reads_too_dry(type_in: Type) -> None:
    """0.3 to 0.4 SMV a degree near 15 % (computed)."""
    shown = type_in("reckon", "hydrometer", "--celsius", "20", "--", "-5").output
    found = float(shown.split(") ")[1].split(" ")[0].replace("−", "-"))
    assert 1.5 < -5 - found < 2.0
