"""What people do comes in by one door, from wherever they do it."""

from __future__ import annotations

from typing import Any

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kuraban.core.entries import KINDS, Amend, Note
from kuraban.core.facts import Logged, Refusal
from kuraban.core.intake.entry_parser import entry_from
from kuraban.core.units import BOARD_EPOCH
from tests.corpus import HOUSE, NOW


def logged(subject: str = "tank-3", by: str | None = None, **fields: Any) -> Logged:
    told = entry_from(fields, subject, HOUSE, NOW, "page", by)
    assert isinstance(told, Logged), told
    return told


def reason(fields: object, subject: str = "tank-3") -> str:
    told = entry_from(fields, subject, HOUSE, NOW, "page")
    assert isinstance(told, Refusal), told
    return told.reason


def test_an_entry_without_a_time_happened_now() -> None:
    told = logged(entry="stir")
    assert (told.at, told.received, told.by, told.way) == (NOW, NOW, None, "page")


def test_people_log_late_and_their_time_counts() -> None:
    assert logged(entry="stir", at="2026-02-01T01:00:00+09:00").at == NOW - 7800
    assert logged(entry="stir", at=NOW + 300).at == NOW + 300


@pytest.mark.parametrize("at", [NOW + 301, 0])
def test_a_button_without_a_right_clock_is_taken_when_it_was_pressed(at: float) -> None:
    assert logged(entry="stir", at=at).at == NOW


def test_the_same_told_twice_is_the_same_entry() -> None:
    once = logged(entry="stir", at=NOW - 60)
    again = entry_from({"at": NOW - 60, "entry": "stir"}, "tank-3", HOUSE, NOW + 5, "broker")
    assert isinstance(again, Logged) and again.id == once.id
    assert logged("tank-4", entry="stir", at=NOW - 60).id != once.id
    assert logged(entry="stir", at=NOW - 61).id != once.id


def test_without_a_time_the_moment_tells_two_presses_apart() -> None:
    first, second = (
        entry_from({"entry": "stir"}, "tank-3", HOUSE, at, "button") for at in (NOW, NOW + 1)
    )
    assert isinstance(first, Logged) and isinstance(second, Logged)
    assert first.id != second.id and first.id == logged(entry="stir").id


def test_an_entry_keeps_the_id_that_it_brings() -> None:
    assert logged(entry="stir", id="s-1").id == "s-1"
    assert "id is a number" in reason({"entry": "stir", "id": 7})


def test_a_person_is_by_or_who_and_the_signed_in_one_stands_first() -> None:
    assert logged(entry="stir", by="Aki").by == "Aki"
    told = entry_from({"entry": "stir", "by": "Aki"}, "tank-3", HOUSE, NOW, "broker")
    assert isinstance(told, Logged) and told.by == "Aki"
    assert logged(entry="stir", who="Aki").by == "Aki"


def test_the_by_of_an_aim_is_a_time_and_its_person_is_who() -> None:
    aim = {"entry": "aim", "celsius": 9.5, "by": "2026-02-01T12:00:00+09:00", "who": "Aki"}
    told = entry_from(aim, "tank-3", HOUSE, NOW, "broker")
    assert isinstance(told, Logged) and told.by == "Aki"
    assert "name the person in who" in reason({**aim, "by": "Aki"})


@pytest.mark.parametrize("by", [NOW + 600, "2026-02-01T06:00:00+09:00"])
def test_a_time_of_arrival_is_no_person_in_an_amendment_either(by: object) -> None:
    change = {"entry": "amend", "of": "a1", "by": by, "who": "Aki"}
    told = entry_from(change, "tank-3", HOUSE, NOW, "broker")
    assert isinstance(told, Logged) and told.by == "Aki"
    assert told.entry == Amend(of="a1", fields={"by": by})
    told = entry_from({**change, "by": "Aki", "who": None}, "tank-3", HOUSE, NOW, "broker")
    assert isinstance(told, Logged) and (told.by, told.entry) == ("Aki", Amend(of="a1"))


def test_an_amendment_takes_every_further_member() -> None:
    told = entry_from(
        {"entry": "amend", "of": "a1", "celsius": 10.4, "who": "Aki", "fields": {"at": 5}},
        "tank-3", HOUSE, NOW, "page",
    )  # fmt: skip
    assert isinstance(told, Logged) and told.by == "Aki"
    assert told.entry == Amend(of="a1", fields={"celsius": 10.4, "at": 5})


def test_japanese_words_are_words() -> None:
    assert logged(entry="note", text="泡が　軽い").entry == Note(text="泡が　軽い")


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ([], "an object such as"),
        ("stir", "an object such as"),
        ({}, 'no member "entry"'),
        ({"entry": 5}, "entry is a number"),
        ({"entry": "stirr"}, 'no entry "stirr"; there are stir,'),
        ({"entry": "stir", "at": "noon"}, "at: 'noon' is not a time"),
        ({"entry": "stir", "who": ""}, "1 to 200 printable"),
        ({"entry": "stir", "who": "a\nb"}, "1 to 200 printable"),
        ({"entry": "stir", "who": ["Aki"]}, "who is a list; send a text"),
        ({"entry": "note", "text": "a\nb"}, "control characters"),
        ({"entry": "note", "text": "   "}, "blank"),
        ({"entry": "amend", "of": "a1", "text": "a\x07"}, "control characters"),
        ({"entry": "amend", "of": "a1", "fields": 5}, "fields is a number"),
        ({"entry": "amend", "of": "a1", "x": float("nan")}, "no number to work with"),
        ({"entry": "amend", "of": "a1", "x": {1}}, "nothing that JSON knows"),
        ({"entry": "stir", 5: 1}, "is no name"),
        ({"entry": "hold"}, 'hold needs for: "for": "2h"'),
    ],
)
def test_a_refusal_tells_the_brewer_what_would_be_right(fields: object, words: str) -> None:
    assert words in reason(fields)


_ANY = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5) | st.binary(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=3), inner),
    max_leaves=6,
)
_FIELDS = st.dictionaries(
    st.sampled_from(["at", "by", "who", "id", "for", "celsius", "of", "to", "points", "text"])
    | st.text(max_size=3),
    _ANY,
    max_size=6,
)


@given(st.sampled_from(KINDS), st.sampled_from(["tank-3", "t3-mid", "watch", "x"]), _FIELDS)
@settings(deadline=None)
def test_nothing_that_a_page_hands_over_ever_raises(
    kind: str, subject: str, fields: dict[str, object]
) -> None:
    told = entry_from({**fields, "entry": kind}, subject, HOUSE, NOW, "page")
    if isinstance(told, Refusal):
        assert told.reason.strip()
    msgspec.json.encode(told, enc_hook=float)


def test_numbers_and_nesting_have_an_end() -> None:
    """Whole numbers up to two to the fifty-third, which a float holds exactly; eight levels."""
    change = {"entry": "amend", "of": "a1"}
    assert logged(**change, x=2**53).entry == Amend(of="a1", fields={"x": 2**53})
    assert "no number to work with" in reason({**change, "x": 2**53 + 2})
    assert "no number to work with" in reason({**change, "x": -(2**53) - 2})
    nested: object = 1
    for _ in range(7):
        nested = [nested]
    assert isinstance(logged(**change, x=nested).entry, Amend)
    assert "too deep" in reason({**change, "x": [[nested]]})


def test_a_name_is_of_two_hundred_characters_at_most() -> None:
    told = entry_from({"entry": "stir", "who": "x" * 200}, "tank-3", HOUSE, NOW, "page")
    assert isinstance(told, Logged) and told.by == "x" * 200
    assert "1 to 200" in reason({"entry": "stir", "who": "x" * 201})


def test_a_board_from_before_2020_has_no_clock() -> None:
    assert logged(entry="stir", at=BOARD_EPOCH).at == BOARD_EPOCH
    assert logged(entry="stir", at=BOARD_EPOCH - 1).at == NOW


def test_who_stands_before_by() -> None:
    told = entry_from({"entry": "stir", "who": "Aki", "by": "Bun"}, "tank-3", HOUSE, NOW, "page")
    assert isinstance(told, Logged) and told.by == "Aki"
