"""A real Chromium before the pages of the demo night at ten past three."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path
from typing import NamedTuple

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

from kuraban.edges.web.live.snapshot_hub import SnapshotHub
from kuraban.edges.web.server import Pages
from kuraban.queries.batches.batch_sheet import Batches
from kuraban.queries.setup.unknown_probes import SettingUp
from kuraban.queries.why import Why
from kuraban.settings import Account
from kuraban.settings import Web as Where
from tests.edges.web.served import Served, page_words

KEY = "k" * 64
PHONE, DESK = (360, 740), (1280, 800)
Open = Callable[..., Page]


class House(NamedTuple):
    """A watch and the address of its pages."""

    watch: Served
    pages: Pages
    at: str


@pytest.fixture(scope="module")
def chrome() -> Iterator[Browser]:
    """Debian's Chromium without windows to draw: half of the processor time of the whole one."""
    program = shutil.which("chromium-headless-shell") or shutil.which("chromium")
    assert program, "Debian's Chromium drives these tests: apt install chromium-headless-shell"
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=program, args=["--no-sandbox"])
        yield browser
        browser.close()


def serving(watch: Served, *accounts: Account) -> House:
    hub = SnapshotHub()
    hub.put(watch.snapshot())
    watch.seen = hub.put
    pages = Pages(
        watch.settings.house, Where(port=0, accounts=accounts), KEY, page_words(), hub,
        watch.path, watch.submit, watch.clock, SettingUp(watch.settings),
        Batches(watch.settings.house, watch.path),
        Why(watch.path, page_words()),
    )  # fmt: skip
    return House(watch, pages, f"http://127.0.0.1:{pages.start()}")


@pytest.fixture(scope="module")
def demo_night(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    with closing(Served.live(tmp_path_factory.mktemp("demo-night"))) as night:
        yield night


@pytest.fixture(scope="module")
def lived(demo_night: Served, tmp_path_factory: pytest.TempPathFactory) -> Iterator[House]:
    """Pages that nobody changes."""
    with closing(demo_night.twin(tmp_path_factory.mktemp("lived"))) as night:
        house = serving(night)
        yield house
        house.pages.stop()


@pytest.fixture
def house(demo_night: Served, tmp_path: Path) -> Iterator[House]:
    """Pages for one test alone."""
    with closing(demo_night.twin(tmp_path)) as night:
        own = serving(night)
        yield own
        own.pages.stop()


@pytest.fixture
def open_(chrome: Browser, request: pytest.FixtureRequest) -> Iterator[Open]:
    """Opens an address in a window of its own; what the browser complained of fails the test."""
    contexts: list[BrowserContext] = []
    complaints: list[str] = []

    def opened(
        address: str, size: tuple[int, int] = PHONE, language: str = "en", colours: str = "light",
        script: bool = True,
    ) -> Page:  # fmt: skip
        context = chrome.new_context(
            viewport={"width": size[0], "height": size[1]}, locale=language,
            color_scheme=colours, java_script_enabled=script, has_touch=size == PHONE,
            reduced_motion="reduce",
        )  # fmt: skip
        contexts.append(context)
        page = context.new_page()
        page.on("console", lambda m: complaints.append(m.text) if m.type == "error" else None)
        page.on("pageerror", lambda error: complaints.append(str(error)))
        answer = page.goto(address, wait_until="load")
        assert answer is not None and answer.status == 200, address
        return page

    yield opened
    for context in contexts:
        context.close()
    meant = ["ERR_INTERNET_DISCONNECTED", "status of 422", "status of 401", "status of 429"]
    if request.node.get_closest_marker("offline"):
        meant.append("ERR_FAILED")  # so says the pages' worker
    faults = [one for one in complaints if not any(word in one for word in meant)]
    assert not faults, faults
