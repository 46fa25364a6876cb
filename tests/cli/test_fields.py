"""What is typed behind an entry becomes its fields."""

from __future__ import annotations

from datetime import datetime
from zoneinfo import ZoneInfo

import pytest

from kuraban.cli.fields import KINDS, offers, read
from kuraban.errors import ConfigurationError
from tests.journals import house

TOKYO = ZoneInfo("Asia/Tokyo")
NOW = datetime(2026, 2, 11, 3, 10, tzinfo=TOKYO).timestamp()


@pytest.mark.parametrize(
    ("kind", "typed", "fields"),
    [
        ("stir", [], {}),
        ("stir", ["20m"], {"for": "20m"}),
        ("check", ["10.2", "where=top"], {"celsius": 10.2, "where": "top"}),
        ("check", ["celsius=\N{MINUS SIGN}1.5"], {"celsius": -1.5}),
        ("batch-start", ["batch=12", "course=moromi-slow-33"],
         {"batch": "12", "course": "moromi-slow-33"}),
        ("split", ["tank-1,tank-2"], {"to": ["tank-1", "tank-2"]}),
        ("note", ["cover", "put", "on"], {"text": "cover put on"}),
        ("note", ["text=valve = open"], {"text": "valve = open"}),
        ("sample", ["baume=3.2", "alcohol=15.1"], {"baume": 3.2, "alcohol": 15.1}),
        ("let-run", ["2h", "0.5"], {"for": "2h", "more": 0.5}),
        ("shelve", ["warm", "12h", "once=true"],
         {"condition": "warm", "for": "12h", "once": True}),
        ("shelve", ["warm", "12h", "once=no"], {"condition": "warm", "for": "12h", "once": False}),
        ("amend", ["e1", "by=06:00"], {"of": "e1", "by": "2026-02-11T06:00:00+09:00"}),
        ("aim", ["11.5", "06:00"], {"celsius": 11.5, "by": "2026-02-11T06:00:00+09:00"}),
        ("stage", ["naka", "since=22:10"],
         {"stage": "naka", "since": "2026-02-10T22:10:00+09:00"}),
        ("plan", ['[["2026-02-11T06:00:00+09:00", 10]]'],
         {"points": [["2026-02-11T06:00:00+09:00", 10]]}),
        ("amend", ["wall-1", "celsius=10.4", "batch=7"],
         {"of": "wall-1", "celsius": 10.4, "batch": "7"}),
    ],
)  # fmt: skip
def test_words_become_fields(kind: str, typed: list[str], fields: dict[str, object]) -> None:
    """By name, or bare in the order in which the entry has them."""
    assert read(kind, typed, TOKYO, NOW) == fields


@pytest.mark.parametrize(
    ("kind", "typed", "right"),
    [
        ("check", ["colour=red"], "check has celsius, where"),
        ("check", ["10.2", "top", "much"], "write field=value"),
        ("batch-end", ["now"], "write field=value"),
        ("aim", ["11", "late"], "by"),
    ],
)
def test_what_fits_no_field_says_which_there_are(kind: str, typed: list[str], right: str) -> None:
    with pytest.raises(ConfigurationError, match=right):
        read(kind, typed, TOKYO, NOW)


def test_a_number_that_is_none_is_left_to_the_door() -> None:
    """One place words what is wrong with an entry."""
    assert read("check", ["warmish"], TOKYO, NOW) == {"celsius": "warmish"}


@pytest.mark.parametrize("kind", KINDS)
def test_every_entry_offers_its_fields(kind: str) -> None:
    assert all("=" in word for word in offers(kind, house()))


def test_a_shell_completes_what_the_house_has() -> None:
    assert "course=moromi-slow-33" in offers("batch-start", house())
    assert "cooler=chiller-1" in offers("served-by", house())
    assert "what=rice" in offers("addition", None)
    assert "to=tank-4" in offers("move", house())
    assert offers("dance", house()) == []
