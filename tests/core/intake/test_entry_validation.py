"""An entry is held against the house before it counts."""

from __future__ import annotations

import pytest

from kuraban.core.entries import KINDS, read_entry
from kuraban.core.intake.entry_validation import SUBJECTS, check_entry, check_subject, no_subject
from tests.corpus import HOUSE, NOW

BATCH = {"entry": "batch-start", "batch": "No. 12", "course": "moromi-slow-33"}


def wrong(fields: object, subject: str = "tank-3") -> str:
    with pytest.raises(ValueError, match=r".+") as raised:
        check_entry(read_entry(fields), subject, HOUSE, NOW)
    return str(raised.value)


@pytest.mark.parametrize(
    ("name", "subject", "words"),
    [
        ("batch-start", "chiller-1", "a place that brews, and chiller-1 is a cooler"),
        ("batch-start", "koji-room", "a place that brews, and koji-room is a room"),
        ("stir", "t3-mid", "a place that brews, and t3-mid is a probe"),
        ("let-run", "heater-1", "a place, and heater-1 is a heater"),
        ("probe-out", "chiller-1", "a place or a probe, and chiller-1 is a cooler"),
        ("out-of-service", "watch", "watch is the watch itself"),
    ],
)
def test_an_entry_about_the_wrong_thing_is_told_so(name: str, subject: str, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        check_subject(name, subject, HOUSE)


@pytest.mark.parametrize(
    "subject", ["tank-3", "bed-1", "koji-room", "chiller-1", "t3-mid", "watch"]
)
def test_a_note_fits_anything(subject: str) -> None:
    check_subject("note", subject, HOUSE)


def test_a_brewing_place_takes_every_kind_of_entry() -> None:
    """But for a swap of duties, which is about the watch."""
    for name in KINDS:
        check_subject(name, "watch" if name == "duty-swap" else "tank-3", HOUSE)
    assert set(SUBJECTS) == set(KINDS)


def test_an_unknown_subject_is_answered_with_the_nearest() -> None:
    with pytest.raises(ValueError, match='no subject "tnk-3"; there are tank-3'):
        check_subject("stir", "tnk-3", HOUSE)
    assert no_subject("chiller-1", HOUSE, "probe").endswith("are c1-power, c1-run")


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({**BATCH, "course": "moromi-slow"}, "there are moromi-slow-33"),
        ({**BATCH, "course": "koji-box-48"}, "is for koji-bed, and tank-3 is a tank"),
        ({**BATCH, "stage": "soee"}, "moromi-slow-33 has no stage .*; its stages are soe"),
        ({**BATCH, "since": NOW + 7200}, "since lies ahead"),
        ({"entry": "stage", "stage": "soe", "since": 5}, "before 2020"),
        ({"entry": "aim", "celsius": 9, "by": NOW - 1}, "by lies before"),
        ({"entry": "plan", "points": [[NOW + 9, 9], [NOW + 9, 8]]}, "not in order"),
        ({"entry": "plan", "points": [[NOW - 9, 9]]}, "end before"),
        ({"entry": "let-run", "for": "13h", "more": 1}, "13h is too long; at most 12h"),
        ({"entry": "shelve", "condition": "warm", "for": "2d"}, "2d is too long; at most 12h"),
        ({"entry": "shelve", "condition": "wram", "for": "2h"}, "there are warm"),
        ({"entry": "acknowledge", "condition": "stopped"}, "a place has no condition"),
        ({"entry": "move", "to": "tank-3"}, "no other place"),
        ({"entry": "merge", "into": "koji-room"}, "no other place"),
        ({"entry": "split", "to": ["tank-3", "tank-9"]}, "there are tank-4"),
        ({"entry": "split", "to": ["tank-4", "tank-4"]}, "names a place twice"),
        ({"entry": "served-by", "cooler": "chiller-2"}, "there are chiller-1"),
    ],
)
def test_what_is_not_there_is_answered_with_what_is(fields: object, words: str) -> None:
    import re

    assert re.search(words, wrong(fields))


def test_of_a_split_a_part_may_stay_where_it_is() -> None:
    check_entry(read_entry({"entry": "split", "to": ["tank-3", "tank-4"]}), "tank-3", HOUSE, NOW)


def test_twelve_hours_of_quiet_are_allowed() -> None:
    check_entry(read_entry({"entry": "let-run", "for": "12h", "more": 1}), "tank-3", HOUSE, NOW)
