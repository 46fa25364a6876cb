"""The closed list of things that speak for and against: each is told by somebody, and has words."""

from __future__ import annotations

import re
from typing import get_args

import pytest

from kuraban.core.views.explanation import Because, Delay, Hand, How, Key, evidence
from kuraban.settings.catalogues import load_words
from tests.house import PACKAGE

SPELLED_ELSEWHERE = {"evidence", "called"}
"""Said by the sentences of a message."""


@pytest.mark.parametrize("language", ["en", "ja"])
def test_every_key_has_its_sentence(language: str) -> None:
    catalogue = load_words().catalogue[language]
    wanted = {f"because.{key}" for key in {*get_args(Key)} - SPELLED_ELSEWHERE}
    wanted |= {f"because-hand.{hand}" for hand in get_args(Hand)}
    wanted |= {f"because-how.{how}" for how in get_args(How)}
    assert wanted - catalogue.keys() == set()
    spoken = {key for key in catalogue if key.startswith("because.")}
    assert spoken - wanted == set()


def test_nothing_is_listed_that_nobody_tells() -> None:
    files = ("core/views/explanation.py", "queries/why.py")
    rooms = ("core/detectors", "core/engine")
    read = [(PACKAGE / name).read_text("utf-8").rpartition("\n] ")[2] for name in files]
    read += [file.read_text("utf-8") for room in rooms for file in (PACKAGE / room).glob("*.py")]
    code = "".join(read)
    assert [key for key in get_args(Key) if not re.search(f'"{key}"', code)] == []


def test_evidence_keeps_its_figure() -> None:
    assert evidence(("no_draw", "supply=5.3")) == (
        Because("evidence", word="no_draw"), Because("evidence", 5.3, word="supply"),
    )  # fmt: skip


def test_what_is_left_of_a_delay_is_never_less_than_nothing() -> None:
    assert Delay(0.0, "seen", 20.0, 60.0, 100.0).left == 40.0
    assert Delay(0.0, "record", 61.0, 60.0, None).left == 0.0
