"""All pages together, and what is said where one cannot be had."""

from __future__ import annotations

import pytest

from kuraban.edges.web.live.snapshot_hub import SnapshotHub
from kuraban.edges.web.server import Pages
from kuraban.queries.setup.unknown_probes import SettingUp
from kuraban.settings.catalogues import load_page_words
from tests.edges.web.conftest import KEY, Browse
from tests.edges.web.served import Served

PAGES = ["/", "/round", "/rings", "/place/tank-1", "/login"]


@pytest.mark.parametrize("language", ["en", "ja"])
@pytest.mark.parametrize("path", PAGES)
def test_every_page_says_its_language_and_has_one_head(
    browse: Browse, path: str, language: str
) -> None:
    """For whoever reads it aloud (WCAG 2.2, 3.1.1 and 1.3.1)."""
    text = browse(language).page(path)
    assert f'<html lang="{language}">' in text
    assert text.count("<h1") == 1 and text.count("<main") == 1
    assert "pages." not in text


@pytest.mark.parametrize("path", PAGES)
def test_a_page_is_small(browse: Browse, path: str) -> None:
    """With its style and script under 40 kB: the Wi-Fi in the cellar is weak."""
    browser = browse()
    whole = sum(
        len(browser.get(part).content)
        for part in (path, "/static/paper.css", "/static/paper.js", "/static/mark.svg")
    )
    assert whole < 40_000


def test_files_are_kept_for_long(browse: Browse) -> None:
    """Their address changes with them."""
    answer = browse().get("/static/paper.css")
    assert "immutable" in answer.headers["cache-control"]
    assert answer.headers["content-type"].startswith("text/css")


def test_before_the_first_picture_the_pages_ask_for_patience(
    served: Served, browse: Browse
) -> None:
    """A watch that has just started."""
    where = served.settings.web
    assert where is not None
    fresh = Pages(
        served.settings.house, where, KEY, load_page_words(), SnapshotHub(), served.path,
        served.submit, served.clock, SettingUp(served.settings),
    )  # fmt: skip
    browser = browse(app=fresh.app)
    assert browser.get("/").status_code == 503
    assert "just started" in browser.get("/").text
    assert browser.get("/api/v1/picture").json()["detail"].startswith("the watch has just started")


@pytest.mark.parametrize(
    ("method", "path", "status"),
    [
        ("GET", "/nowhere", 404),
        ("DELETE", "/", 405),
        ("GET", "/log", 404),
        ("GET", "/api/v1/nowhere", 404),
    ],
)
def test_what_is_not_there_is_told(browse: Browse, method: str, path: str, status: int) -> None:
    """To a person as a page, to a program in JSON."""
    answer = browse().ask(method, path)
    assert answer.status_code == status
    if path.startswith("/api"):
        assert answer.json()["detail"]
    else:
        assert "<main" in answer.text
