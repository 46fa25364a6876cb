"""The pages on a phone's home screen."""

from __future__ import annotations

import pytest

from tests.edges.web.conftest import Browse


@pytest.mark.parametrize(("language", "word"), [("en", "Stirs"), ("ja", "櫂入れ")])
def test_a_phone_learns_name_icons_and_colours(browse: Browse, language: str, word: str) -> None:
    """Of our own, and in its language."""
    browser = browse(language)
    told = browser.get("/site.webmanifest")
    assert told.headers["content-type"] == "application/manifest+json"
    manifest = told.json()
    assert manifest["display"] == "standalone" and manifest["shortcuts"][0]["name"] == word
    for icon in manifest["icons"]:
        answer = browser.get(icon["src"])
        assert answer.status_code == 200 and answer.content.startswith(b"\x89PNG")


def test_the_keeper_of_pages_lies_at_the_root(browse: Browse) -> None:
    """Else it could not keep the cellar; what is signed, or for programs, it keeps not."""
    answer = browse().get("/keeper.js")
    assert answer.headers["content-type"].startswith("text/javascript")
    assert "/^\\/(a|live|api|login|metrics|site|wall)/" in answer.text


def test_out_of_reach_a_page_says_what_goes_on(browse: Browse) -> None:
    """It listens for nothing, and is there before anybody signs in."""
    text = browse().page("/away")
    assert "The watch itself goes on" in text and "data-live" not in text


def test_a_browser_that_asks_for_the_old_icon_finds_one(browse: Browse) -> None:
    assert browse().get("/favicon.ico").headers["content-type"] == "image/png"
