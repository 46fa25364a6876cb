"""Before an addition: the brewer's arithmetic with its range, and nothing is written down."""

from __future__ import annotations

import re

import pytest

from kuraban.edges.web.views.addition import Answer, Wrong, answered
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
    assert "Rice at" in text and 'value="\uff14\uff14\uff10"' in text
    text = browser.page("/place/tank-3/addition", params={**typed, "target": "x"})
    assert "not a number; write one" in text and 'value="440"' in text
    assert len(served.engine.view.entry_log.log) == before
