"""Every page that can be reached, on a phone and at a desk, in both languages, by day and night."""

from __future__ import annotations

from urllib.parse import urldefrag, urljoin

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page

from tests.browser.conftest import DESK, PHONE, House, Open

LEAST = 48
"""CSS pixels: what a wet thumb hits."""
SIZES = pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
LANGUAGES = pytest.mark.parametrize("language", ["en", "ja"])
WAYS = pytest.mark.parametrize(
    ("size", "language", "colours"),
    [(PHONE, "en", "light"), (PHONE, "ja", "dark"), (DESK, "ja", "light"), (DESK, "en", "dark")],
    ids=["phone-en-day", "phone-ja-night", "desk-ja-day", "desk-en-night"],
)
"""Every two of screen, language and colours together."""
OF_A_SHAPE = 2
"""Pages of one shape that are looked at, beside one of every kind of place."""
NOT_PAGES = ("lang=", "/static/", "/api/", "/metrics", "/logout", ".csv", ".svg", ".png")

SMALL = """least => [...document.querySelectorAll(
    'button, input:not([type=hidden]), select, textarea, summary, nav a, a.button')]
  .filter(e => e.checkVisibility())
  .map(e => [e.closest('label') && e.matches('[type=checkbox],[type=radio]')
             ? e.closest('label') : e, e])
  .map(([box, e]) => [box.getBoundingClientRect(), e])
  .filter(([box]) => box.height < least - 0.5 || box.width < least - 0.5)
  .map(([box, e]) => `${e.outerHTML.slice(0, 90)} ${box.width}x${box.height}`)"""


@pytest.fixture(scope="module")
def addresses(lived: House, chrome: object) -> list[str]:
    """What links lead to, one page of each shape: of many places, one of each kind."""
    page = chrome.new_page()  # type: ignore[attr-defined]
    kinds = {place.kind: place.id for place in lived.watch.settings.house.places}
    places = [f"{lived.at}/place/{place}" for place in kinds.values()]
    found, waiting = [], [lived.at + "/", *places]
    shapes: dict[str, int] = {}
    while waiting:
        address = waiting.pop(0)
        shape = "/".join(address.split("/")[:4]) + "?" * ("?" in address)
        if address in found or (shapes.get(shape, 0) >= OF_A_SHAPE and address not in places):
            continue
        shapes[shape] = shapes.get(shape, 0) + 1
        answer = page.goto(address)
        if answer.status != 200 or "text/html" not in answer.headers["content-type"]:
            continue
        found.append(address)
        for link in page.eval_on_selector_all("a[href]", "all => all.map(a => a.href)"):
            link = urldefrag(urljoin(address, link))[0]
            if link.startswith(lived.at) and not any(word in link for word in NOT_PAGES):
                waiting.append(link)
    page.close()
    assert len(found) >= 8, found
    return found


@WAYS
def test_whoever_cannot_see_well_can_read_every_page(
    addresses: list[str], open_: Open, size: tuple[int, int], language: str, colours: str
) -> None:
    """axe-core finds nothing serious (WCAG 2.2 AA): contrast, names, order, language."""
    faults: dict[str, list[str]] = {}
    page = open_(addresses[0], size, language, colours)
    for address in addresses:
        page.goto(address)
        found = Axe().run(page, options={"runOnly": ["wcag2a", "wcag2aa", "wcag21aa", "wcag22aa"]})
        for one in found.response["violations"]:
            if one["impact"] in ("serious", "critical"):
                nodes = [node["html"][:160] for node in one["nodes"][:3]]
                faults.setdefault(one["id"], []).append(f"{address}: {nodes}")
    assert not faults, faults


@SIZES
@LANGUAGES
def test_every_page_fits_its_screen_and_a_thumb_its_buttons(
    addresses: list[str], open_: Open, size: tuple[int, int], language: str
) -> None:
    page = open_(addresses[0], size, language)
    faults = []
    for address in addresses:
        page.goto(address)
        assert page.get_attribute("html", "lang") == language, address
        wide = page.evaluate("document.documentElement.scrollWidth - window.innerWidth")
        if wide > 0:
            faults.append(f"{address}: {wide} px too wide")
        if size == PHONE:
            faults += [f"{address}: {one}" for one in page.evaluate(SMALL, LEAST)]
    assert not faults, "\n".join(faults)


@LANGUAGES
def test_every_page_can_be_read_without_script(
    addresses: list[str], open_: Open, language: str
) -> None:
    with_script, without = (
        open_(addresses[0], PHONE, language),
        open_(addresses[0], PHONE, language, script=False),
    )
    for address in addresses:
        assert _words(without, address) >= 0.8 * _words(with_script, address), address


def _words(page: Page, address: str) -> int:
    page.goto(address)
    return len(page.inner_text("main"))
