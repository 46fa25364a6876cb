"""The curve on the page; where none can be drawn the table stands in its place."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET

import pytest

from kuraban.edges.web.drawing import lazy_figures as drawing
from kuraban.edges.web.drawing.lazy_figures import clipped, days_on
from tests.edges.web.conftest import Browse


def test_a_page_without_curves_offers_none(browse: Browse, monkeypatch: pytest.MonkeyPatch) -> None:
    """No broken picture on a phone."""
    monkeypatch.setattr(drawing, "available", lambda: False)
    browser = browse()
    assert "curve.svg" not in browser.page("/place/tank-1")
    assert browser.get("/place/tank-1/curve.svg").status_code == 404


@pytest.mark.parametrize("place", ["tank-1", "koji-bed-1", "koji-store", "cellar", "starter-1"])
@pytest.mark.parametrize("tone", ["day", "night", "paper"])
def test_every_place_has_its_curve(browse: Browse, place: str, tone: str) -> None:
    """By day and by night, with a batch, a band, or neither."""
    answer = browse("ja").get(f"/place/{place}/curve.svg", params={"tone": tone})
    assert answer.headers["content-type"] == "image/svg+xml"
    assert ET.fromstring(answer.content).tag.endswith("svg")


@pytest.mark.parametrize("asked", ["day", "stir", "morning", "batch"])
def test_a_days_page_with_its_curve_is_small(browse: Browse, asked: str) -> None:
    """At most 80 kB in all, style and script included."""
    browser = browse()
    parts = (f"/place/tank-1?range={asked}", f"/place/tank-1/curve.svg?range={asked}",
             "/static/paper.css", "/static/paper.js")  # fmt: skip
    assert sum(len(browser.get(part).content) for part in parts) < 80_000


@pytest.mark.parametrize("place", ["tank-1", "tank-5", "koji-bed-1", "koji-store"])
def test_the_curve_ends_with_the_value_that_the_page_says_is_now(
    browse: Browse, place: str
) -> None:
    """Whoever is tired believes neither of two figures."""
    browser = browse()
    found = re.search(r'<p class="now">([^<]+)<small>', browser.page(f"/place/{place}"))
    assert found is not None
    curve = ET.fromstring(browser.get(f"/place/{place}/curve.svg").content)
    written = [node.text for node in curve.iter() if node.text and "." in node.text]
    assert found[1].strip() in written


def test_the_curve_may_bring_no_script(browse: Browse) -> None:
    """Opened by itself it is a document, and its policy forbids everything but its inks."""
    policy = browse().get("/place/tank-1/curve.svg").headers["content-security-policy"]
    assert policy == "default-src 'none'; style-src 'unsafe-inline'"


def test_a_line_is_cut_to_what_is_shown() -> None:
    """With its value at both edges."""
    line = ((0.0, 10.0), (10.0, 20.0), (20.0, 20.0))
    assert clipped(line, 5.0, 15.0) == ((5.0, 15.0), (10.0, 20.0), (15.0, 20.0))
    assert clipped(line, 25.0, 30.0) == ()


def test_where_the_plan_steps_the_band_steps() -> None:
    """Up to the moment of a step the degrees before it count, from it on those after it; a band
    that ran straight across it would show a tank outside that was inside."""
    line = ((0.0, 10.0), (10.0, 10.0), (10.0, 15.0), (20.0, 15.0))
    assert clipped(line, 0.0, 10.0) == ((0.0, 10.0), (10.0, 10.0))
    assert clipped(line, 10.0, 20.0) == ((10.0, 15.0), (20.0, 15.0))


@pytest.mark.parametrize(
    ("day", "on", "then"), [(12, -1, 11), (12, 1, 13), (1, -1, -1), (-2, 2, 1)]
)
def test_there_is_no_moromi_day_zero(day: int, on: int, then: int) -> None:
    """The day before tome is day -1."""
    assert days_on(day, on) == then
