"""The batch's sheet, on paper and under a finger, and a plan drawn anew as it is typed."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import closing

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import House, Open, serving
from tests.edges.web.served import Served
from tests.long_batch import PLACE, SOE, lived_batch, on_day

SHEET = f"/batches/{PLACE}/{int(SOE)}"


@pytest.fixture(scope="module")
def pressed(tmp_path_factory: pytest.TempPathFactory) -> Iterator[House]:
    """33 days of mash, pressed."""
    yield from _pages(lived_batch(tmp_path_factory.mktemp("pressed")))


@pytest.fixture(scope="module")
def half(tmp_path_factory: pytest.TempPathFactory) -> Iterator[House]:
    """The same on day 18."""
    yield from _pages(lived_batch(tmp_path_factory.mktemp("half"), on_day(18, 3)))


def _pages(lived: Served) -> Iterator[House]:
    with closing(lived) as night:
        house = serving(night)
        yield house
        house.pages.stop()


@pytest.mark.parametrize("language", ["en", "ja"])
def test_a_batch_of_33_days_is_one_page_of_paper(
    pressed: House, open_: Open, language: str
) -> None:
    """A4, the curve included."""
    paper = open_(pressed.at + SHEET, language=language).pdf(prefer_css_page_size=True)
    assert len(re.findall(rb"/Type\s*/Page[^s]", paper)) == 1


def test_a_finger_on_the_curve_reads_it(pressed: House, open_: Open) -> None:
    """Time, measured, plan; the arrow keys go on from there."""
    page = open_(pressed.at + SHEET)
    drawing = page.locator(".drawing")
    page.wait_for_selector(".touch output.hint")
    drawing.scroll_into_view_if_needed()
    box = drawing.bounding_box()
    assert box is not None
    page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 3)
    told = page.locator(".touch output").inner_text()
    assert re.fullmatch(r".*\d\d:\d\d: \d+\.\d °C, plan \d+\.\d", told)
    drawing.focus()
    page.keyboard.press("ArrowRight")
    assert page.locator(".touch output").inner_text() != told


def test_the_curve_is_drawn_anew_as_the_plan_is_typed(half: House, open_: Open) -> None:
    """Within a second, and nothing is kept."""
    page = open_(f"{half.at}/place/{PLACE}/plan")
    before = page.evaluate("document.querySelector('img.curve').currentSrc")
    with page.expect_response(lambda answer: "plan.svg" in answer.url and "=7.5" in answer.url):
        page.locator(".days input").nth(2).fill("7.5")
    page.wait_for_function(f"() => document.querySelector('img.curve').currentSrc !== {before!r}")
    assert page.locator(".days input").nth(2).input_value() == "7.5"


def test_what_the_plan_will_be_follows_as_it_is_typed(half: House, open_: Open) -> None:
    """Every morning beside its new figure; where that is taken out again, the plan as it was."""
    page = open_(f"{half.at}/place/{PLACE}/plan")
    before = page.locator(".then").all_inner_texts()
    page.locator(".days input").nth(2).fill("7.5")
    expect(page.locator(".then").nth(2)).to_have_text("7.5")
    assert page.locator(".then").all_inner_texts() != before
    page.locator(".days input").nth(2).fill("")
    expect(page.locator(".then").nth(2)).to_have_text(before[2])


def test_without_a_script_the_plan_is_shown_by_its_button(half: House, open_: Open) -> None:
    page = open_(f"{half.at}/place/{PLACE}/plan", script=False)
    page.locator(".days input").nth(2).fill("7.5")
    page.locator("button[value=show]").click()
    assert page.locator(".days input").nth(2).input_value() == "7.5"
    assert page.locator(".days li").nth(3).locator("span").last.inner_text() == "7.5"
