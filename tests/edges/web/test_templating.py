"""Pages are filled in, escaped, and say when what they show is old."""

from __future__ import annotations

import pytest
from jinja2 import UndefinedError

from kuraban.edges.web.templating import STATIC, edition, fill, static, templates
from kuraban.edges.web.translator import Translator
from kuraban.settings.catalogues import load_page_words
from tests.edges.web.conftest import Browse
from tests.edges.web.served import Served


def test_what_is_filled_in_is_escaped() -> None:
    """In every template, whatever its name."""
    text = templates().from_string("<p>{{ note }}</p>").render(note="<script>alert(1)</script>")
    assert "<script>" not in text


def test_nothing_may_be_left_out(lived: Served) -> None:
    """A page that lacks a part fails in a test, not in the cellar."""
    w = Translator(load_page_words(), "en", lived.settings.house, 0.0)
    with pytest.raises(UndefinedError):
        fill("_row.html", w)


def test_files_have_an_address_that_changes_with_them() -> None:
    """So that phones keep them for long."""
    assert static("paper.css") == f"/static/paper.css?{edition('paper.css')}"


def test_every_script_is_small_and_no_page_holds_any() -> None:
    """Under four thousand bytes; nothing inline, as the policy asks."""
    assert all(script.stat().st_size < 4000 for script in STATIC.glob("*.js"))
    for name in templates().list_templates():
        source = (STATIC.parent / "templates" / name).read_text("utf-8")
        assert "<script>" not in source and " style=" not in source and "onclick" not in source


def test_a_watch_that_stands_still_says_so(served: Served, browse: Browse) -> None:
    """The pages live in a thread of their own and would look as if all were well."""
    app = browse()
    assert ">The watch has stopped updating" not in app.page("/")
    served.engine.now += 120.0
    assert ">The watch has stopped updating" in app.page("/")


def test_the_cookie_is_for_our_pages_alone(browse: Browse) -> None:
    """No script reads it, no other site sends it."""
    cookie = browse().get("/").headers["set-cookie"]
    assert "HttpOnly" in cookie and "SameSite=strict" in cookie
