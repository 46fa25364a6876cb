"""An old tablet on the wall: by its address alone, read only, and old when it is old."""

from __future__ import annotations

import dataclasses
import html
import re

import pytest

from kuraban.core.views.snapshot import Ring
from kuraban.edges.web.templating import STATIC
from tests.edges.web.conftest import Browse, Browser, account, pages_of
from tests.edges.web.served import Served


def make(browser: Browser, do: str = "renew") -> str:
    """The address of the wall by now, as the page of setting up shows it; empty for none."""
    browser.post("/wall", data={"do": do, "token": browser.token()})
    found = re.search(r"http://127[^<]*(/wall/[^<]+)</pre>", browser.page("/setup"))
    return found[1] if found else ""


def test_its_address_is_made_renewed_and_withdrawn(browse: Browse) -> None:
    """An old one opens nothing, nor does one that somebody made up."""
    browser = browse()
    first = make(browser)
    assert browser.get(first).status_code == 200
    second = make(browser)
    assert browser.get(first).status_code == 404 and browser.get(second).status_code == 200
    assert make(browser, "withdraw") == "" and browser.get(second).status_code == 404
    assert browser.get("/wall/WyJhIiwiYiJd.forged").status_code == 404


def test_only_who_manages_gives_it_an_address_and_the_tablet_needs_no_password(
    served: Served, browse: Browse
) -> None:
    from tests.passwords import hashed

    word = hashed("rice and water")
    served.with_accounts(account("mio", "log", word), account("boss", "manage", word))
    app = pages_of(served).app
    crew, boss = browse(app=app), browse(app=app)
    crew.sign_in("mio", "rice and water")
    boss.sign_in("boss", "rice and water")
    assert crew.post("/wall", data={"do": "renew", "token": crew.token()}).status_code == 403
    assert browse(app=app).get(make(boss)).status_code == 200


@pytest.mark.parametrize(("language", "said"), [("en", "Nobody has it"), ("ja", "対応者まだなし")])
def test_it_shows_what_rings_first_and_every_product(
    browse: Browse, ringing: Ring, language: str, said: str
) -> None:
    """In the tablet's language; nothing on it can be pressed."""
    browser = browse(language)
    text = html.unescape(browser.page(make(browser)))
    assert ringing.title[language] in text and said in text
    assert text.index('class="rings"') < text.index("Tank 1") < text.index("Tank 6")
    assert "<form" not in text and "<button" not in text and "<a " not in text


def test_what_nothing_measures_stands_first_with_its_last_value(
    served: Served, browse: Browse
) -> None:
    browser = browse()
    at = make(browser)
    silent = served.snapshot()
    places = tuple(
        dataclasses.replace(one, product=None, word="unknown", last=(silent.at - 7200, 14.2))
        if one.id == "tank-4" else one
        for one in silent.places
    )  # fmt: skip
    served.seen(dataclasses.replace(silent, places=places))
    text = browser.page(at)
    assert text.index("Tank 4") < text.index("Tank 1")
    assert "last 14.2 at 01:10, 2 h ago" in text


def test_a_watch_that_stands_still_makes_the_page_old(served: Served, browse: Browse) -> None:
    """Without any script; the words stand there to be shown."""
    browser = browse()
    at = make(browser)
    assert 'class="steady"' in browser.page(at)
    served.seen(dataclasses.replace(served.snapshot(), at=served.clock() - 90.0))
    text = browser.page(at)
    assert 'class="steady old"' in text and "This page is old: it shows 03:08." in text


def test_an_old_browser_understands_it() -> None:
    """No word of script or style that a tablet of ten years ago does not know."""
    script = (STATIC / "wall.js").read_text("utf-8")
    assert not re.search(r"=>|`|\b(let|const|class|async|fetch)\b|\?\.|\.\.\.", script)
    style = (STATIC / "wall.css").read_text("utf-8")
    assert not re.search(r"var\(|grid|clamp\(|min\(|:is\(|color-mix", style)
    page = (STATIC.parent / "templates" / "wall.html").read_text("utf-8")
    assert '<noscript><meta http-equiv="refresh"' in page
