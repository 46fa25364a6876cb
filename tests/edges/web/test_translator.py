"""The pages speak Japanese and English, with the figures of the messages."""

from __future__ import annotations

import dataclasses
import tomllib
from pathlib import Path

import pytest

from kuraban.core import entries as e
from kuraban.core.facts import Logged
from kuraban.core.views.snapshot import Leaving, PlaceNow
from kuraban.edges.web.translator import Translator, choose
from kuraban.settings.catalogues import load_page_words
from tests.edges.web.served import Served

PAGES = Path(__file__).parents[3] / "shared" / "pages"
KNOWN = ("en", "ja")


@pytest.fixture
def tongues(lived: Served) -> dict[str, Translator]:
    words, house = load_page_words(), lived.settings.house
    return {language: Translator(words, language, house, lived.clock()) for language in KNOWN}


@pytest.mark.parametrize(
    ("wished", "accepted", "chosen"),
    [
        ((None, None), "ja,en;q=0.8", "ja"),
        ((None, None), "fr, ja;q=0.5, en;q=0.9", "en"),
        ((None, None), "de-CH", "ja"),
        ((None, None), "en;q=high", "ja"),
        ((None, "en"), "ja", "en"),
        (("ja", "en"), "en", "ja"),
        (("xx", None), "", "ja"),
    ],
)
def test_a_language_is_wished_for_else_accepted_else_the_houses(
    wished: tuple[str | None, ...], accepted: str, chosen: str
) -> None:
    """What was asked for on the page, then the account's, then the browser's (RFC 9110, 12.5.4)."""
    assert choose(wished, accepted, KNOWN, "ja") == chosen


def test_both_catalogues_have_the_same_keys() -> None:
    """A page that can be read in one language can be read in the other."""
    tables = [tomllib.loads((PAGES / f"{name}.toml").read_text("utf-8")) for name in KNOWN]
    assert {k: set(t) for k, t in tables[0].items()} == {k: set(t) for k, t in tables[1].items()}


def test_every_entry_and_state_has_a_name(tongues: dict[str, Translator]) -> None:
    """Nobody reads a key of ours."""
    states = ("unacknowledged", "returned", "acknowledged", "shelved", "suppressed",
              "out-of-service", "normal")  # fmt: skip
    for w in tongues.values():
        assert not [kind for kind in e.KINDS if not w._speech.template(f"pages.entry.{kind}")]
        assert not [state for state in states if not w._speech.template(f"pages.state.{state}")]


def test_figures_carry_a_true_minus_and_a_sign(tongues: dict[str, Translator]) -> None:
    """As in the messages."""
    w = tongues["en"]
    assert w.signed(-0.34) == "−0.3"
    assert w.signed(0.62) == "+0.6"
    assert w.figure(None) == "–"
    assert (w.celsius(10.9), tongues["ja"].celsius(10.9)) == ("10.9 °C", "10.9℃")


def test_a_value_tells_its_age(tongues: dict[str, Translator]) -> None:
    """Now, in minutes, then since when."""
    w = tongues["en"]
    assert w.age(w.at - 30) == "read just now"
    assert w.age(w.at - 600) == "read 10 min ago"
    assert w.age(w.at - 7200) == "last read 01:10"
    assert w.age(None) == ""


def test_a_length_of_time_is_said_as_people_say_it(tongues: dict[str, Translator]) -> None:
    """In the lists of a form; what is sent stays 3h."""
    assert [tongues["en"].length(one) for one in ("3h", "30m")] == ["3 h", "30 min"]
    assert [tongues["ja"].length(one) for one in ("3h", "30m")] == ["3時間", "30分"]


PLACE = PlaceNow(id="tank-3", name="Tank 3", kind="tank", word="warm", difference=0.6)


def test_what_to_expect_names_the_edge_that_comes_next(tongues: dict[str, Translator]) -> None:
    """Too warm, then past the limit; a tank that is outside already is not called quiet."""
    w = tongues["en"]
    near = dataclasses.replace(PLACE, leaving=Leaving(side="warm", soonest=2.0, latest=4.0))
    far = dataclasses.replace(PLACE, leaving=Leaving(side="warm", edge="limit", soonest=3.0))
    assert w.leaving(near) == "Too warm in about 2 h, 05:10 to 07:10."
    assert w.leaving(far) == "Past the limit, warm, in about 3 h, 06:10."
    assert "Outside" in w.leaving(PLACE)
    calm = dataclasses.replace(PLACE, word="as-planned", product=10.0, foreseen=True)
    assert "Nothing leaves" in w.leaving(calm)


def test_entries_are_told_in_a_few_words(tongues: dict[str, Translator]) -> None:
    """What went in and how much, what was read, which stage."""

    def did(entry: e.Entry, language: str = "en") -> str:
        return tongues[language].did(Logged("x", "tank-3", entry, 0.0, 0.0))

    assert did(e.Check(celsius=10.2)) == "By hand thermometer 10.2 °C"
    assert did(e.Addition(what="rice", kg=420)) == "rice in 420 kg"
    assert did(e.StageMark(stage="naka")) == "naka begins"
    assert did(e.StageMark(stage="naka"), "ja") == "仲添に入る"
    assert did(e.Stir(), "ja") == "櫂入れした"


def test_people_are_called_by_their_names(tongues: dict[str, Translator]) -> None:
    """An id where it is a person's, else what was written."""
    w = tongues["en"]
    assert w.person("ken") == "Ken"
    assert w.person("a visitor") == "a visitor"
    assert w.people(("aki", "sho")) == "Aki, Sho"
