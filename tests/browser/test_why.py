"""From an alarm to why it rings, and from there to another moment."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import DESK, PHONE, House, Open
from tests.browser.test_every_page import faults_of, unfit


def test_one_tap_from_an_alarm_to_why_and_back_in_the_night(lived: House, open_: Open) -> None:
    """The delay is a bar and a sentence; another moment is typed into the same page."""
    page = open_(lived.at, PHONE)
    page.locator('#needs a[href="/why/chiller-1#stopped"]').first.tap()
    page.wait_for_url("**/why/chiller-1#stopped")
    expect(page.locator("#stopped .state")).to_contain_text("has it")
    page.goto(f"{lived.at}/why/tank-5")
    page.fill("#at", "2026-02-03T23:30")
    page.get_by_role("button", name="Ask").tap()
    page.wait_for_url("**/why/tank-5?at=2026-02-03T23%3A30")
    warm = page.locator("#warm")
    expect(warm.get_by_role("progressbar")).to_have_attribute("max", "3600")
    expect(warm).to_contain_text("of 60 min spent")


@pytest.mark.parametrize("language", ["en", "ja"])
@pytest.mark.parametrize(("size", "colours"), [(PHONE, "dark"), (DESK, "light")])
def test_it_can_be_read_on_any_screen(
    lived: House, open_: Open, size: tuple[int, int], language: str, colours: str
) -> None:
    page = open_(f"{lived.at}/why/tank-5?at=2026-02-03T23:30", size, language, colours)
    assert not faults_of(page) and not unfit(page, size)
