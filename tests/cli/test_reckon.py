"""The brewer's arithmetic as it is typed at the tank."""

from __future__ import annotations

import json
import re

import pytest

from tests.cli.conftest import Type

ADVICE = "the face, nose and tongue of the brewer come first"


def test_the_official_trial_has_its_proportions(type_in: Type) -> None:
    """Per 100 kg: 17, 30, 53 of rice, koji 23 %.

    National Research Institute of Brewing, stockpiled-rice trial brewing no. 3.
    """
    shown = type_in("reckon", "share", "11+6+25", "22+8+37", "44+9+70", "--size", 240).output
    for part in ("17 %", "30 %", "53 %", "Koji share (麹歩合) 23.0 %", "enough", "% full"):
        assert part in shown


def test_the_measured_litres_tell_the_swelling(type_in: Type) -> None:
    """(240 - 132) / 100 kg: the check after tome, usual 105 % (common practice)."""
    words = ("11+6+25", "22+8+37", "44+9+70")
    assert "留測) 108 %" in type_in("reckon", "share", *words, "--measured", 240).output


def test_too_little_koji_is_warned_about(type_in: Type) -> None:
    """At least 15 % for specified names: National Tax Agency, labelling standard for sake."""
    assert "BELOW the 15 %" in type_in("reckon", "share", "30+3+40").output
    assert "enough" in type_in("reckon", "share", "17+3+25").output


def test_a_script_gets_the_proportions_as_json(type_in: Type) -> None:
    """The trial batch of the National Research Institute of Brewing, stockpiled-rice trial no. 3:
    koji 23 %, water 132 % without the late water."""
    words = ("11+6+25", "22+8+37", "44+9+70", "--measured", "237", "--json")
    told = json.loads(type_in("reckon", "share", *words).stdout)
    assert (told["koji_percent"], told["water_percent"]) == (23.0, 132.0)
    assert [one["name"] for one in told["additions"]] == ["soe", "naka", "tome"]
    assert told["swelling_percent"] == 105.0 and told["specified_name"] is True


def test_a_tank_that_runs_over_and_a_probe_that_hangs_dry_are_told(type_in: Type) -> None:
    shown = type_in(
        "reckon", "share", "11+6+25", "22+8+37", "44+9+70", "--size", 200, "--dry-below", 60
    ).output
    words = " ".join(shown.split())
    assert "RUNS OVER" in words and "hangs dry" in words and "under the surface" in words


@pytest.mark.parametrize(("size", "room"), [(240, False), (400, True)])
def test_a_tank_too_full_for_high_foam_is_told(size: int, room: bool, type_in: Type) -> None:
    """97 % full holds no foam; 59 % does (common practice: a quarter of the tank or more)."""
    shown = type_in("reckon", "share", "11+6+25", "22+8+37", "44+9+70", "--size", size).output
    assert ("高泡" in shown) is not room


@pytest.mark.parametrize("typed", ["11+6", "0+0+3", "a+b+c", "-1+6+25"])
def test_three_amounts_are_three_amounts(typed: str, type_in: Type) -> None:
    assert type_in("reckon", "share", "--", typed).exit_code == 2


def test_the_koji_rooms_air_by_two_bulbs_and_back(type_in: Type) -> None:
    """30 and 25 °C make 67 %: JIS Z 8806."""
    shown = type_in("reckon", "rh", 30, 25).output
    assert "67 % (6" in shown and "depression (乾湿差) 5.0 K" in shown
    assert "dew point (露点) 23.1 °C" in shown  # psychrolib: 23.14
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


def test_extract_and_sweetness_come_with_alcohol_and_acidity(type_in: Type) -> None:
    """tests/trade/test_density.py has them by hand: 4.7 g and 29.3 g of SMV +3 at 15.5 %, -0.2."""
    shown = type_in("reckon", "smv", "--smv", 3, "--alcohol", 15.5, "--acidity", 1.3).output
    for part in ("エキス分) 4.7 g/100 mL", "原エキス分) 29.3", "甘辛度): −0.2", "Sato et al. 1974"):
        assert part in shown
    assert "エキス分" not in type_in("reckon", "smv", "--smv", 3).output


def corrected(*words: object, type_in: Type) -> tuple[float, float]:
    """SMV at 15 °C and its ±."""
    shown = type_in("reckon", "hydrometer", *words)
    assert shown.exit_code == 0, shown.stderr
    smv, error = re.search(r"日本酒度\) (\S+), .*±(\S+) SMV", shown.output).groups()  # type: ignore[union-attr]
    return float(smv.replace("−", "-")), float(error)


def test_a_warm_hydrometer_reads_too_dry(type_in: Type) -> None:
    """At 20 °C and 15 % by 1.8 SMV for alcohol and water (OIML R 22), 2.0 with its sugar."""
    found, error = corrected("-5", "--celsius", 20, "--alcohol", 15, type_in=type_in)
    assert 1.8 < -5 - found < 2.1
    assert 0 < error < 0.4


def test_a_cold_sweet_mash_is_put_right_in_baume(type_in: Type) -> None:
    """Baume 4.2 at 8 °C and 9 %: 1.2 SMV for alcohol and water, 1.7 with its sugar."""
    words = ("4.2", "--baume", "--celsius", 8, "--alcohol", 9)
    found, error = corrected(*words, type_in=type_in)
    assert 1.2 < found + 42 < 1.9
    _, wider = corrected("4.2", "--baume", "--celsius", 8, type_in=type_in)
    assert wider > error


@pytest.mark.parametrize(
    "words",
    [
        ("hydrometer", "-20", "--celsius", "18"),
        ("hydrometer", "--celsius", "18", "-20"),
        ("ice-point", "-0.12", "-0.06", "-0.12", "-0.12", "-0.06", "--step", "0.06"),
    ],
)
def test_a_figure_below_zero_is_none_of_the_options(words: tuple[str, ...], type_in: Type) -> None:
    """Mash is below zero on the SMV nearly all its life."""
    shown = type_in("reckon", *words)
    assert shown.exit_code == 0, shown.stderr


@pytest.mark.parametrize(
    "words", [("3", "--celsius", "40"), ("3", "--celsius", "20", "--alcohol", "30")]
)
def test_beyond_its_tables_nothing_is_corrected(words: tuple[str, ...], type_in: Type) -> None:
    refused = type_in("reckon", "hydrometer", *words)
    assert refused.exit_code == 2 and "is not possible" in refused.stderr
