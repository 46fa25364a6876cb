"""The demo as a visitor uses it: the link in a browser, a tap there, the answer on the terminal."""

from __future__ import annotations

import re
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser

from tests.terminal import Terminal

KURABAN = Path(sys.executable).parent / "kuraban"


@pytest.fixture
def terminal(tmp_path: Path) -> Iterator[Terminal]:
    opened = Terminal(tmp_path, KURABAN, "demo", "--night", "koji")
    yield opened
    opened.close()


@pytest.mark.slow
def test_a_visitor_goes_on_to_the_ring_and_answers_it_on_the_pages(
    terminal: Terminal, chrome: Browser, tmp_path: Path
) -> None:
    """Opened in the evening, answered at night by a tap; whoever has it is seen on the terminal."""
    at = terminal.until(r"http://127\.0\.0\.1:\d+/")
    page = chrome.new_page(viewport={"width": 360, "height": 740})
    page.goto(at)
    page.locator("#me summary").click()
    page.locator("select[name=person]").select_option("ken")
    page.locator("form[action='/who'] button").click()
    terminal.until("Keys: ")
    while "Koji room heater stopped 23:29" not in terminal.said:
        terminal.said = ""
        terminal.press("n")
        terminal.until("at life's own pace\\)")
    page.locator("#ring-heater-1-stopped button.main").click()
    terminal.until(r"23:[34]\d\S*\s+\S*Ken answers: I have it \(Koji room heater\)", within=15)
    assert page.locator("#ring-heater-1-stopped", has_text="Ken").count() == 1
    assert not re.search(r"\x1b\[(3\d|9\d|38)", terminal.said), "there is colour"
    terminal.press("q")
    assert terminal.process.wait(20) == 0
    assert list(tmp_path.iterdir()) == []
    page.close()
