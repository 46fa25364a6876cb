"""The tablet on the wall, left to itself for a season."""

from __future__ import annotations

import dataclasses

from playwright.sync_api import Browser, expect

from tests.browser.conftest import KEY, House
from tests.edges.web import every


def test_it_shows_what_is_new_and_says_when_it_is_old(house: House, chrome: Browser) -> None:
    """Nobody touches it: a new value comes by itself, and without the watch it turns old."""
    (at,) = every.addresses(house.watch, KEY, lambda _: True, ["/wall/{wall}"])["/wall/{wall}"]
    context = chrome.new_context(viewport={"width": 1024, "height": 600}, locale="ja")
    page = context.new_page()
    page.clock.install()
    page.goto(house.at + at)
    expect(page.locator(".stale")).to_be_hidden()
    moved = [dataclasses.replace(place, product=16.3) for place in house.watch.snapshot().places]
    house.pages.hub.put(dataclasses.replace(house.watch.snapshot(), places=tuple(moved)))
    page.clock.run_for(10_000)
    expect(page.locator(".now").first).to_have_text("16.3")
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    context.set_offline(True)
    page.clock.run_for(70_000)
    expect(page.locator(".stale")).to_be_visible()
    expect(page.locator(".now").first).to_have_css("text-decoration-line", "line-through")
    context.set_offline(False)
    page.clock.run_for(10_000)
    expect(page.locator(".stale")).to_be_hidden()
    context.close()
