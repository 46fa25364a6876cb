"""A careful colleague asks back before a slip is written down."""

from __future__ import annotations

from typing import Any

import pytest

from kuraban.edges.web.forms.questions import asks
from kuraban.edges.web.translator import Translator
from kuraban.settings.catalogues import load_page_words
from tests.edges.web.conftest import Browse
from tests.edges.web.served import Served


def asked(served: Served, place: str, **told: Any) -> str:
    house = served.settings.house
    w = Translator(load_page_words(), "en", house, served.clock())
    if "for_" in told:
        told["for"] = told.pop("for_")
    return asks(told, served.snapshot(), place, house, w)


def test_a_hand_check_far_from_the_probe_is_asked_about(lived: Served) -> None:
    assert "The probe reads" in asked(lived, "tank-3", entry="check", celsius=25.0)
    assert asked(lived, "tank-3", entry="check", celsius=15.5) == ""
    assert asked(lived, "tank-3", entry="check", celsius="warm") == ""


def test_more_rice_than_the_tank_holds_is_asked_about(lived: Served) -> None:
    assert "do not fit" in asked(lived, "tank-3", entry="addition", what="rice", kg=99_000.0)
    assert asked(lived, "tank-3", entry="addition", what="rice", kg=100.0) == ""


def test_a_let_run_beyond_the_limit_is_asked_about(lived: Served) -> None:
    """It says how far it might go unheard, and what the limits are."""
    question = asked(lived, "tank-3", entry="let-run", for_="3h", more=20.0)
    assert "might go from" in question and "the limits are" in question
    assert asked(lived, "tank-3", entry="let-run", for_="3h", more=0.3) == ""
    assert asked(lived, "koji-store", entry="let-run", for_="3h", more=20.0) == "", "no batch"


@pytest.mark.parametrize(
    ("condition", "length", "question"),
    [("warm", "12h", True), ("warm", "4h", False), ("trending-warm", "12h", False),
     ("warm", "soon", False), ("none-such", "12h", False)],
)  # fmt: skip
def test_a_long_shelf_of_what_wakes_is_asked_about(
    lived: Served, condition: str, length: str, question: bool
) -> None:
    told = asked(lived, "tank-3", entry="shelve", condition=condition, for_=length)
    assert bool(told) is question


def test_whoever_means_it_writes_it_down_once_more(served: Served, browse: Browse) -> None:
    """With everything that was typed, and at the time when it was."""
    browser = browse()
    form = {"entry": "shelve", "condition": "warm", "for": "12h", "reason": "racking", "by": "aki",
            "tapped": str(served.clock() - 60.0)}  # fmt: skip
    answer = browser.tap("tank-5", **form)
    assert answer.status_code == 422
    assert "Nobody would be rung for 12" in answer.text and 'name="sure"' in answer.text
    assert 'value="racking"' in answer.text and 'name="when"' in answer.text
    assert browser.tap("tank-5", **form, sure="1").status_code == 303
    let = {"entry": "let-run", "for": "3h", "more": "20", "form": "let-run", "by": "aki"}
    answer = browser.tap("tank-3", **let)
    assert answer.status_code == 422 and 'name="sure"' in answer.text
    assert browser.tap("tank-3", **let, sure="1").status_code == 303
