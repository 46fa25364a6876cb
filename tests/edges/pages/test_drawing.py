"""Where curves cannot be drawn the table stands in their place."""

from __future__ import annotations

from kuraban.edges.pages import drawing
from tests.edges.pages.conftest import Browse


def test_the_page_offers_a_curve_only_where_one_can_be_drawn(browse: Browse) -> None:
    """No broken picture on a phone."""
    browser = browse()
    text, answer = browser.page("/place/tank-1"), browser.get("/place/tank-1/curve.svg")
    assert ("curve.svg" in text) is drawing.available()
    assert (answer.status_code == 200) is drawing.available()


def test_the_curve_is_one_document_with_its_words(browse: Browse) -> None:
    """By day and by night, in the reader's language."""
    browser = browse()
    for tone in ("day", "night"):
        answer = browser.get(f"/place/tank-1/curve.svg?tone={tone}")
        if drawing.available():
            assert answer.text.startswith("<?xml") and "Tank 1" in answer.text
