"""What is answered to "why?", as a brewer reads it."""

from __future__ import annotations

from datetime import datetime
from zoneinfo import ZoneInfo

import pytest

from kuraban.core.texts.translator import Speech
from kuraban.core.texts.why_text import SaidWhy, Teller
from kuraban.core.views.explanation import Account, Because, Delay, Explanation, Judged
from kuraban.settings.catalogues import load_words

TOKYO = ZoneInfo("Asia/Tokyo")
NOW = datetime(2026, 2, 1, 23, 13, tzinfo=TOKYO).timestamp()
SINCE = NOW - 35 * 60
HELD = Judged(
    Account(
        "warm", False,
        lacks=(Because("runs-out", until=NOW + 1500, lasted=2100, wanted=3600),
               Because("held", until=NOW + 3600)),
        delay=Delay(SINCE, "record", 2100.0, 3600.0, NOW + 1500),
    ),
    "waits",
)  # fmt: skip


def told(language: str, *known: Because, judged: tuple[Judged, ...] = ()) -> SaidWhy:
    found = Explanation(subject="tank-3", name="Tank 3", at=NOW, known=known, judged=judged)
    return Teller(Speech(load_words(), language, TOKYO, NOW)).told(found)


@pytest.mark.parametrize(
    ("language", "bar", "lacks"),
    [
        ("en", "Since 22:38 (found in the record): 35 min of 60 min spent, 25 min left.",
         ["Told at 23:38 if it stays so.", "Held back until 00:13."]),
        ("ja", "22:38から（記録をさかのぼって）。60分のうち35分経過、あと25分。",
         ["このままなら23:38に知らせる。", "00:13までは知らせない。"]),
    ],
)  # fmt: skip
def test_a_delay_is_told_as_spent_and_left(language: str, bar: str, lacks: list[str]) -> None:
    (warm,) = told(language, judged=(HELD,)).conditions
    assert warm.delay is not None and warm.delay.text == bar
    assert [said.text for said in warm.lacks] == lacks
    assert (warm.delay.spent, warm.delay.left) == (2100, 1500)


def test_figures_that_differ_never_read_the_same() -> None:
    """10.75 is not above 10.80: with one decimal nobody would see why it is quiet."""
    (near,) = told("en", Because("must-rise", 10.75, 10.8, wanted=3600)).known
    assert near.text == "Rings above 10.80 °C for 60 min; now 10.75 °C."
    (far,) = told("en", Because("must-rise", 10.31, 10.8, wanted=3600)).known
    assert far.text == "Rings above 10.8 °C for 60 min; now 10.3 °C."


def test_a_script_gets_times_with_an_offset() -> None:
    found = told("en", Because("mask", since=SINCE, until=NOW + 60, word="stir"))
    (mask,) = found.known
    assert found.at == "2026-02-01T23:13:00+09:00"
    assert (mask.since, mask.until) == ("2026-02-01T22:38:00+09:00", "2026-02-01T23:14:00+09:00")
    assert mask.text.startswith("Stir at 22:38: nothing rings until 23:14")


def test_a_stage_bears_its_own_name_where_the_house_has_no_word_for_it() -> None:
    title = {"en": "Main mash", "ja": "本醪"}
    (said,) = told("ja", Because("next-stage", since=NOW, word="own-stage", title=title)).known
    assert "本醪" in said.text


def test_evidence_is_told_as_in_the_message() -> None:
    (said,) = told("en", Because("evidence", 5.3, word="supply")).known
    assert said.text == "Supply 5.3 °C."
    (said,) = told("en", Because("called", word="called_valve")).known
    assert said.text == "A tank's valve is open."


@pytest.mark.parametrize(("seconds", "text"), [(29, "under 1 min"), (5340, "89 min"),
                                               (7200, "2 h"), (8100, "2 h 15 min")])  # fmt: skip
def test_lengths_of_time(seconds: float, text: str) -> None:
    (said,) = told("en", Because("over-runs", wanted=seconds)).known
    assert said.text == f"Over once it has run for {text}."


def test_what_is_held_back_and_by_whom_it_is_had() -> None:
    has = Judged(Account("warm", True, ends=(Because("over-below", 10.9, 10.7, wanted=900),)),
                 "in-hand", NOW - 60, "Aki", NOW + 10_800)  # fmt: skip
    (warm,) = told("en", judged=(has,)).conditions
    assert warm.text == "alarm 23:12, Aki has it, right by 02:13"
    assert warm.lacks == []
    assert [said.text for said in warm.ends] == ["Over once it is below 10.7 °C for 15 min."]
