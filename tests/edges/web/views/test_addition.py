"""Before an addition: the brewer's arithmetic with its range, and nothing is written down."""

from __future__ import annotations

import re
from dataclasses import replace

import msgspec
import pytest

from kuraban.core.site import Place
from kuraban.core.views.snapshot import PlaceNow
from kuraban.edges.web.views.addition import Answer, Wrong, answered, chilled, dipped, filled
from tests.edges.web.conftest import Browse
from tests.edges.web.served import Served

TOME = {"mash_litres": "2000", "mash_celsius": "7.0", "rice_kg": "440", "target": "8.0"}


def asked(wanted: str, **more: str) -> Answer:
    return answered(wanted, {**TOME, **more})  # type: ignore[arg-type]


def test_at_tome_the_rice_must_be_so_warm_and_moves_little() -> None:
    """A degree in the rice moves the whole by about a sixth (a factor of 5.7 at tome; computed)."""
    found = asked("rice")
    assert found.figure.least <= found.figure.likely <= found.figure.most
    assert 11 < found.figure.likely < 14
    assert found.moves == pytest.approx(1 / 5.7, abs=0.03)


def test_what_was_asked_for_lands_where_it_should() -> None:
    """There and back: the rice that is needed lands on the target."""
    rice = asked("rice").figure.likely
    assert asked("landing", rice_celsius=f"{rice:.3f}").figure.likely == pytest.approx(
        8.0, abs=0.01
    )


def test_starter_water_and_rice_meet_by_the_taught_rule() -> None:
    """rice = water + K (target - water), K near 3.5 (Nada Sake Research Group, "Shubo mashing")."""
    found = answered("rice", {"water_litres": "108", "koji_kg": "30", "water_celsius": "12",
                              "rice_kg": "70", "target": "20"})  # fmt: skip
    assert found.moves is not None and 3.0 < 1 / found.moves < 4.2
    assert found.figure.likely == pytest.approx(12 + 8 / found.moves, abs=0.2)


KNOWN = {"mash_litres": "2000", "mash_celsius": "9", "target": "8"}


@pytest.mark.parametrize(
    ("wanted", "typed", "figure"),
    [
        ("water", {"water_litres": "300"}, 2.1),
        ("water-much", {"water_celsius": "2"}, 295),
        ("water-much", {"mash_litres": "", "koji_kg": "35", "water_celsius": "6", "rice_kg": "65",
                        "rice_celsius": "13"}, 116),
        ("rice-much", {"mash_celsius": "7", "rice_celsius": "12.7"}, 439),
        ("mash", {"rice_kg": "440", "rice_celsius": "12.7"}, 7.0),
        ("mash-much", {"mash_celsius": "7", "rice_kg": "440", "rice_celsius": "12.7"}, 2005),
        ("ice", {}, 20.2),
        ("late-much", {"late_celsius": "2"}, 295),
        ("late", {"late_litres": "300"}, 2.1),
        ("yodan", {"mash_celsius": "7", "yodan_litres": "100"}, 28.0),
        ("spirit", {"spirit_litres": "400"}, 3.53),
        ("starter-much", {"starter_celsius": "5"}, 666.7),
    ],
)  # fmt: skip
def test_any_one_figure_can_be_asked_for(wanted: str, typed: dict[str, str], figure: float) -> None:
    """The same as the command answers for the same figures, or by hand with 3.7 kJ/K a litre of
    mash and 4.14 of spirit: 2000 · 1 = 100 · (28 - 8), 7400 = 400 · 4.14 · (8 - 3.53), and so on.
    """
    found = answered(wanted, {**KNOWN, **typed})
    assert found.figure.likely == pytest.approx(figure, rel=0.01)
    assert found.figure.least <= found.figure.likely <= found.figure.most


@pytest.mark.parametrize(
    ("typed", "celsius"),
    [
        ({"late_litres": "100", "late_celsius": "8"}, 9.9),
        ({"ice_kg": "20"}, 9.0),
        ({"yodan_litres": "200", "yodan_celsius": "55"}, 14.1),
        ({"mash_litres": "1000", "spirit_litres": "100", "spirit_celsius": "15"}, 10.5),
        ({"mash_litres": "", "water_litres": "250", "koji_kg": "60", "water_celsius": "8",
          "starter_litres": "60", "starter_celsius": "10"}, 8.3),
    ],
)  # fmt: skip
def test_every_landing_that_the_command_knows_the_page_knows(
    typed: dict[str, str], celsius: float
) -> None:
    """By hand, as in tests/cli/test_reckon_mix.py."""
    found = answered("landing", {**KNOWN, "mash_celsius": "10", **typed})
    assert found.figure.likely == pytest.approx(celsius, abs=0.06)


def test_no_amount_of_it_is_said_in_words() -> None:
    with pytest.raises(Wrong) as wrong:
        answered("water-much", {**KNOWN, "water_celsius": "20"})
    assert wrong.value.key == "mixing.no-amount"


def test_ice_in_the_place_of_warm_water_is_less_than_ice_on_top() -> None:
    """Of water colder than the target it would be more.

    100 L at 10 °C to be 5 °C: x (333.6 + 41.86) = 100 · 4.186 · 5, so 5.6 kg and 94.4 L."""
    typed = {"water_litres": "100", "water_celsius": "10", "target": "5"}
    found = answered("ice", typed)
    assert found.instead == (pytest.approx(5.57, abs=0.01), pytest.approx(94.4, abs=0.05))
    assert found.figure.likely > found.instead[0]


TANK = Place(id="t", kind="tank", name="T", litres=3000.0, height=200.0)


def test_the_tank_is_told_with_what_goes_in() -> None:
    """2,000 L and 440 kg make 2,462; of a tank of unknown size nothing is said."""
    answer = answered("rice", TOME)
    fill = filled(TANK, TOME, answer)
    assert fill is not None and fill.litres == pytest.approx(2462)
    assert fill.dip == pytest.approx(200 - 200 * 2462 / 3000)
    assert filled(Place(id="t", kind="tank", name="T"), TOME, answer) is None


def test_a_dip_is_the_litres_of_the_mash() -> None:
    """80 cm of 200 below the rim of 3,000 L are 1,800 L, whatever was typed; 300 cm are none."""
    assert dipped(TANK, {**TOME, "dip": "80"})["mash_litres"] == "1800"
    assert dipped(TANK, {**TOME, "dip": ""})["mash_litres"] == "2000"
    with pytest.raises(Wrong):
        dipped(TANK, {**TOME, "dip": "300"})


@pytest.mark.parametrize("language", ["en", "ja"])
def test_the_answer_says_what_goes_in_and_whether_it_fits(browse: Browse, language: str) -> None:
    """With the caution about gas and falls, and of spirit where some goes in."""
    typed = {"mash_litres": "2700", "mash_celsius": "7", "water_litres": "300", "target": "6.8"}
    page = browse(language)
    text = page.page("/place/tank-3/addition", params={**typed, "wanted": "water"})
    runs, falls = ("RUNS OVER", "falls kill") if language == "en" else ("あふれます", "命")
    assert runs in text and falls in text and "300 L" in text
    spirit = {**typed, "water_litres": "", "spirit_litres": "50", "spirit_celsius": "10"}
    told = page.page("/place/tank-3/addition", params={**spirit, "wanted": "landing"})
    assert ("no flame" if language == "en" else "火気厳禁") in told


def test_water_is_ready_before_the_rice(served: Served) -> None:
    """Two hours before the next stage is due, where one is."""
    snapshot, house = served.snapshot(), served.settings.house
    known = snapshot.place("tank-3")
    assert known is not None and known.batch is not None
    answer = answered("water", {**KNOWN, "water_litres": "300"})
    assert chilled(snapshot, house, known, answer) is None, "its course has no next stage"
    due = snapshot.at + 9 * 3600
    known = replace(known, batch=replace(known.batch, stage_due=due))
    found = chilled(snapshot, house, known, answer)
    assert found is not None and (found.due, found.ready) == (due, due - 2 * 3600)
    store = Place(id="store", kind="water", name="Water")
    stored = msgspec.structs.replace(house, places=(*house.places, store))
    seen = PlaceNow(id="store", name="Water", kind="water", product=12.0)
    seen_by = replace(snapshot, places=(*snapshot.places, seen))
    found = chilled(seen_by, stored, known, answer)
    assert found is not None and found.store == "store", "300 · 4.186 · (12 - 2.1) / 3600, by hand"
    assert found.kwh == pytest.approx(3.45, abs=0.02)


def test_warm_rice_asks_for_ice() -> None:
    """The heat above the target melts it and warms it up: 333.6 kJ/kg (CRC, from memory)."""
    found = asked("ice", rice_celsius="30").figure
    rice = 440 * 1.38 * 2600 * (30 - 8)
    mash = 2000 * 1.05 * 3700 * (7 - 8)
    assert found.likely == pytest.approx((rice + mash) / (333600 + 4186 * 8), rel=0.1)
    assert found.least < found.likely < found.most


def test_water_that_would_have_to_be_frozen_is_told_as_ice() -> None:
    found = asked("water", water_litres="100", rice_celsius="30")
    assert found.beyond == "cold" and found.ice is not None and found.ice > 0


def test_rice_hotter_than_is_used_is_said_to_be() -> None:
    assert asked("rice", target="20").beyond == "hot"


@pytest.mark.parametrize(
    ("change", "key", "field"),
    [
        ({"rice_kg": ""}, "mixing.missing", "rice_kg"),
        ({"target": ""}, "mixing.missing", "target"),
        ({"mash_celsius": "cold"}, "mixing.unread", "mash_celsius"),
        ({"mash_celsius": "700"}, "mixing.outside", "mash_celsius"),
        ({"mash_litres": ""}, "mixing.nothing", ""),
    ],
)
def test_a_figure_that_is_missing_is_named(change: dict[str, str], key: str, field: str) -> None:
    with pytest.raises(Wrong) as wrong:
        asked("rice", **change)
    assert (wrong.value.key, wrong.value.field) == (key, field)


@pytest.mark.parametrize("language", ["en", "ja"])
def test_the_form_begins_with_what_is_known(browse: Browse, language: str) -> None:
    """Litres and product of the tank; nothing is asked twice of the brewer."""
    text = browse(language).page("/place/tank-3/addition")
    value = dict(re.findall(r'id="(\w+)" name="\w+".*?value="([^"]*)"', text))
    assert float(value["mash_litres"]) > 1000 and float(value["mash_celsius"]) > 5
    assert "answer" not in text and "style=" not in text


def test_the_answer_keeps_what_was_typed_and_writes_nothing(browse: Browse, served: Served) -> None:
    """Full-width figures too; a fault is told beside the form, with everything still in it."""
    before = len(served.engine.view.entry_log.log)
    browser = browse()
    typed = {**TOME, "wanted": "rice"}
    text = browser.page("/place/tank-3/addition", params={**typed, "rice_kg": "\uff14\uff14\uff10"})
    assert "Steamed rice: 12.7 °C" in text and 'value="\uff14\uff14\uff10"' in text
    text = browser.page("/place/tank-3/addition", params={**typed, "target": "x"})
    assert "not a number; write one" in text and 'value="440"' in text
    assert len(served.engine.view.entry_log.log) == before
