"""A form is read kindly, field by field, and is one entry however often it is sent."""

from __future__ import annotations

import pytest

from kuraban.core.units import parse_time
from kuraban.edges.web.forms.form_fields import Filled, led, own_id, refused
from kuraban.edges.web.forms.submit_entry import Outcome
from kuraban.edges.web.translator import Translator
from kuraban.settings.catalogues import load_page_words
from tests.edges.web.conftest import Browse
from tests.edges.web.served import Served


def filled(served: Served, language: str = "en", **form: str) -> Filled:
    w = Translator(load_page_words(), language, served.settings.house, served.clock())
    return Filled(form, w, "batches")


def test_every_field_that_cannot_be_read_is_told_at_once(lived: Served) -> None:
    """By its name on the page, with what was typed."""
    form = filled(lived, rice_kg="much", at="soon", day="１２", batch="  No. 9 ")
    assert (form.number("rice_kg"), form.moment("at")) == (None, None)
    assert (form.number("day"), form.text("batch"), form.number("hours")) == (12.0, "No. 9", None)
    assert form.wrong == {
        "rice_kg": "White rice, kg: much cannot be read as a number.",
        "at": "Begins: soon is no day and time; write one such as 2026-02-04 03:10.",
    }


def test_it_is_told_in_the_readers_language(lived: Served) -> None:
    form = filled(lived, "ja", hours="三時間")
    assert form.number("hours") is None
    assert form.wrong == {"hours": "この工程に入ってからの時間：三時間 は数値として読めません。"}


def test_a_refusal_stands_beside_the_field_that_it_names(lived: Served) -> None:
    """Where the form has that field; else it is about the form as a whole."""
    w = Translator(load_page_words(), "en", lived.settings.house, lived.clock())
    much = Outcome("a", "refused", "alcohol is too great; at most 25 is right")
    assert [*refused(much, {"alcohol": "29"}, w)] == ["alcohol"]
    assert [*refused(much, {}, w)] == [""]
    assert [*refused(Outcome("a", "refused", "there is no probe x; there are y"), {}, w)] == [""]


def test_a_moment_is_of_the_house_clock(lived: Served) -> None:
    form = filled(lived, at="2026-02-04T03:10")
    assert form.moment("at") == parse_time("2026-02-04T03:10:00+09:00")


def test_a_form_without_an_id_of_its_own_leaves_it_to_the_door() -> None:
    assert (own_id({"id": "a"}), own_id({"id": ""}), own_id({})) == ({"id": "a"}, {}, {})


def test_what_was_written_down_leads_on_with_its_id_spelled_out() -> None:
    """Nothing in it can add to the address."""
    answer = led("/batches", Outcome("a&of=b#c/d", "kept"), "tank-3")
    assert answer.headers["location"] == "/batches?told=a%26of%3Db%23c%2Fd&of=tank-3"


@pytest.mark.parametrize("path", ["/log/tank-3", "/batches/start", "/setup/test"])
def test_a_form_that_is_no_form_is_none_of_ours(browse: Browse, path: str) -> None:
    """JSON, or bytes of nothing."""
    browser = browse()
    assert browser.post(path, json={"token": browser.token()}).status_code == 403
    assert browser.post(path, content=b"\x00\xff").status_code == 403
