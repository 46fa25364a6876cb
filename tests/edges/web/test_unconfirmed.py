"""An entry that would stop the watch over a batch waits, seen by all, for a second person."""

from __future__ import annotations

import re

from tests.edges.web.conftest import Browse, Browser
from tests.edges.web.served import Served


def text(page: str) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", page))


def taken_out(browser: Browser) -> str:
    """Mio, who is no brewer, takes a tank with a batch out of service; the page after it."""
    answer = browser.tap("tank-4", entry="out-of-service", reason="washing", by="mio", id="slip")
    assert answer.status_code == 303
    return text(browser.page(answer.headers["location"]))


def test_it_says_that_it_waits_and_the_tank_is_watched_on(browse: Browse, served: Served) -> None:
    """Not that it is written down and done."""
    said = taken_out(browse())
    assert "it waits for a second person" in said
    assert "Tank 4: Not watched?" in said and "Entered by Mio" in said
    assert served.engine.view.in_service("tank-4")


def test_the_cellar_s_first_lines_show_it_with_its_button(browse: Browse) -> None:
    """Whoever comes by next can confirm it or take it back."""
    browser = browse()
    taken_out(browser)
    page = browser.page("/")
    needs = page[page.index('id="needs"') : page.index('id="tanks-head"')]
    assert "Tank 4: Not watched?" in text(needs)
    assert 'value="confirm"' in needs and 'value="take-back"' in needs


def test_a_second_person_s_tap_makes_it_count(browse: Browse, served: Served) -> None:
    browser = browse()
    taken_out(browser)
    browser.tap("tank-4", entry="confirm", of="slip", by="sho")
    assert not served.engine.view.in_service("tank-4")
    assert "Tank 4: Not watched?" not in text(browser.page("/"))


def test_the_same_person_cannot_confirm_it(browse: Browse, served: Served) -> None:
    browser = browse()
    taken_out(browser)
    browser.tap("tank-4", entry="confirm", of="slip", by="mio")
    assert served.engine.view.in_service("tank-4")
    assert "Tank 4: Not watched?" in text(browser.page("/"))


def test_taken_back_it_is_gone(browse: Browse, served: Served) -> None:
    browser = browse()
    taken_out(browser)
    browser.tap("tank-4", entry="take-back", of="slip", by="mio")
    assert served.engine.view.in_service("tank-4")
    assert "Tank 4: Not watched?" not in text(browser.page("/"))


def test_a_stage_that_is_not_the_next_names_it(browse: Browse, served: Served) -> None:
    """As every list of the pages names stages, in the reader's language."""
    browser = browse("ja")
    browser.tap("tank-4", entry="stage", stage="soe", by="mio")
    assert [one.stage for one in served.snapshot().unconfirmed] == ["soe"]
    said = text(browser.page("/place/tank-4"))
    assert "もう一人が確認すると有効" in said and "確認する" in said


def test_nothing_waits_longer_than_a_day(browse: Browse, served: Served) -> None:
    taken_out(browse())
    served.pass_time(86_401.0)
    assert served.snapshot().unconfirmed == ()
