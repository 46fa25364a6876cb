"""The pages on a phone that has lost the watch: what was open is shown with its age."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from kuraban.core.facts import Impaired
from tests.browser.conftest import House, Open


@pytest.mark.offline
def test_a_page_that_was_open_is_shown_with_its_age_out_of_reach(house: House, open_: Open) -> None:
    """Never as if it were of now; a page that was never open says that it was not."""
    page = open_(f"{house.at}/")
    page.wait_for_function("() => navigator.serviceWorker.controller !== null")
    page.goto(f"{house.at}/place/tank-3")
    page.wait_for_function("() => caches.open('pages').then((one) => one.match('/place/tank-3'))")
    page.context.set_offline(True)
    page.goto(f"{house.at}/place/tank-3")
    assert page.locator("body").get_attribute("data-kept") is not None
    expect(page.locator("#now .now")).to_contain_text("15.0")
    expect(page.locator("#lost")).to_be_visible()
    page.goto(f"{house.at}/batches")
    expect(page.locator("h1")).to_have_text("The watch is out of reach")


def test_after_a_tap_elsewhere_an_open_page_shows_it(house: House, open_: Open) -> None:
    """A round that lies open ticks the tank that somebody stirred from its own page."""
    page = open_(f"{house.at}/round")
    expect(page.locator("#lost")).to_be_hidden()
    page.wait_for_timeout(500)
    other = open_(f"{house.at}/place/tank-3")
    other.get_by_role("button", name="Stirred").first.tap()
    other.wait_for_url("**told=**")
    expect(page.locator("#tick-tank-3")).to_contain_text("✓", timeout=15_000)


def test_the_title_counts_what_nobody_has_answered(house: House, open_: Open) -> None:
    """On a tab among many, and on the home screen."""
    page = open_(f"{house.at}/")
    expect(page.locator("#lost")).to_be_hidden()
    before = page.title()
    house.watch.submit(Impaired("pages", True, house.watch.clock(), "no answer"))
    house.watch.pass_time(1.0)
    page.wait_for_function("() => document.title.startsWith('(1) ')")
    assert not before.startswith("(")
