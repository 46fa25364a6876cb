"""The pictures of README and the guide are the pages as they are. Beside each lie the words that
stood on its page: when a page says something else, its picture is to be taken anew, and with
PICTURES=anew this test takes them.
"""

from __future__ import annotations

import os
import re
import subprocess

import pytest
from playwright.sync_api import Browser

from tests.browser.conftest import DESK, PHONE, House
from tests.edges.web.served import ROOT

FOLDER = ROOT / "fixtures" / "pictures"
SHOWN = ("README.md", "shared/guide/README.ja.md", "shared/guide/*/*.md")
PICTURES = {
    "cellar": ("/", PHONE, "en", "light"),
    "tank": ("/place/tank-5", DESK, "en", "light"),
    "coolers": ("/coolers/chiller-1", PHONE, "ja", "dark"),
}


@pytest.mark.parametrize("name", PICTURES)
def test_a_picture_shows_its_page_as_it_is(name: str, lived: House, chrome: Browser) -> None:
    faces = subprocess.run(["fc-list", ":lang=ja"], capture_output=True, check=True).stdout
    assert faces, "without a face that has kanji they are empty boxes: fonts-ipaexfont-gothic"
    path, (width, height), language, colours = PICTURES[name]
    context = chrome.new_context(
        viewport={"width": width, "height": height}, locale=language,
        color_scheme=colours, device_scale_factor=1.5,  # type: ignore[arg-type]
    )  # fmt: skip
    page = context.new_page()
    page.goto(lived.at + path, wait_until="load")
    words, told = page.inner_text("body"), FOLDER / f"{name}.txt"
    if os.environ.get("PICTURES") == "anew":
        page.screenshot(path=FOLDER / f"{name}.png")
        told.write_text(words, "utf-8")
    context.close()
    assert told.read_text("utf-8") == words, "take it anew: PICTURES=anew, with this test"


def test_every_picture_that_is_shown_is_taken_here() -> None:
    texts = [file.read_text("utf-8") for one in SHOWN for file in ROOT.glob(one)]
    shown = {name for text in texts for name in re.findall(r"pictures/(\w+)\.png", text)}
    assert shown == {*PICTURES} == {file.stem for file in FOLDER.glob("*.png")}
