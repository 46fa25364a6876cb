"""Taps that could not be told at once, on a tablet that several people use."""

from __future__ import annotations

import json
import re
import time
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from argon2 import PasswordHasher
from playwright.sync_api import Browser, Page, expect

from kuraban.core.entries import Check, Stir
from kuraban.core.facts import Logged
from kuraban.settings import Account
from kuraban.store.history import History
from tests.browser.conftest import DESK, House, serving
from tests.browser.test_at_the_tank import tap_stir, wait_for
from tests.edges.web.served import Served

WORD = "rice and water"
LINE = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1).hash(WORD)
MIO, BOSS = (
    Account("mio", "log", "Mio", None, LINE),
    Account("boss", "manage", "Boss", None, LINE),
)
KEY = "kuraban untold"
TOLD = "**/log/**"


@pytest.fixture
def house(demo_night: Served, tmp_path: Path) -> Iterator[House]:
    """Pages of people who have accounts."""
    with closing(demo_night.twin(tmp_path)) as night:
        own = serving(night, MIO, BOSS)
        yield own
        own.pages.stop()


@pytest.fixture
def tablet(chrome: Browser) -> Iterator[Page]:
    context = chrome.new_context(
        viewport={"width": DESK[0], "height": DESK[1]},
        locale="en",
        has_touch=True,
        service_workers="block",  # what goes through one cannot be cut off here
    )
    yield context.new_page()
    context.close()


def sign_in(page: Page, house: House, name: str) -> None:
    page.goto(f"{house.at}/login?next=/place/tank-3")
    page.fill("#name", name)
    page.fill("#password", WORD)
    page.get_by_role("button", name="Sign in").tap()
    page.wait_for_url(f"{house.at}/place/tank-3")


def sign_out(page: Page) -> None:
    page.get_by_role("button", name="Sign out").tap()
    page.wait_for_url("**/login")


def logged(house: House, kind: type) -> list[Logged]:
    history = History(house.watch.path)
    found = [one for one in history.entries("tank-3", 0.0, 1e12) if isinstance(one.entry, kind)]
    history.close()
    return found


def stirs(house: House) -> list[Logged]:
    return [one for one in logged(house, Stir) if one.way == "page"]


def cut_off(page: Page) -> None:
    """Pages still open, and nothing that is tapped gets through."""
    page.context.route(TOLD, lambda route: route.abort())


def there_again(page: Page) -> None:
    page.context.unroute(TOLD)
    page.evaluate("window.dispatchEvent(new Event('online'))")


def plant(page: Page, *taps: dict[str, Any]) -> None:
    """Taps that lie in the browser already, the oldest first."""
    page.evaluate("([key, taps]) => localStorage.setItem(key, taps)", [KEY, json.dumps(taps)])
    page.reload()


def a_tap(house: House, number: int, by: str | None = "mio", **fields: str) -> dict[str, Any]:
    told = {"id": f"kept-{number}", "tapped": house.watch.clock() - 1200.0, "maker": by, **fields}
    tap = {
        "to": "/log/tank-3",
        "label": f"Tank 3, {fields['entry']}",
        "name": "Mio",
        "fields": told,
    }
    return tap if by is None else {**tap, "by": by}


def test_a_tap_waits_for_whoever_made_it(house: House, tablet: Page) -> None:
    """Mio's stir is not the boss's; it is told as hers, at its time, when she is there again."""
    sign_in(tablet, house, "mio")
    cut_off(tablet)
    began = house.watch.clock()
    tap_stir(tablet)
    expect(tablet.locator("#untold b")).to_have_text("1")
    expect(tablet.locator("#untold li")).to_have_text(re.compile("^Stirred, Tank 3 *$"))
    sign_out(tablet)
    expect(tablet.locator("#untold")).to_contain_text("waits until Mio signs in here")
    there_again(tablet)
    sign_in(tablet, house, "boss")
    there_again(tablet)
    expect(tablet.locator("#untold")).to_contain_text("waits until Mio signs in here")
    expect(tablet.locator("#untold .forget")).to_be_hidden()
    house.watch.pass_time(600.0)
    time.sleep(1.0)
    assert stirs(house) == []
    sign_out(tablet)
    sign_in(tablet, house, "mio")
    wait_for(lambda: stirs(house))
    expect(tablet.locator("#untold")).to_be_hidden()
    (stir,) = stirs(house)
    assert stir.by == "mio" and began <= stir.at < began + 60.0


def test_what_was_planted_without_a_name_is_told_by_nobody_unasked(
    house: House, tablet: Page
) -> None:
    """It stands there until somebody takes it for their own, or throws it away."""
    sign_in(tablet, house, "boss")
    plant(tablet, a_tap(house, 1, None, entry="out-of-service", reason="washing"))
    expect(tablet.locator("#untold")).to_contain_text("Tank 3, out-of-service")
    there_again(tablet)
    time.sleep(1.0)
    assert house.watch.engine.view.in_service("tank-3")
    tablet.locator("#untold .forget").tap()
    expect(tablet.locator("#untold")).to_be_hidden()


def test_a_refused_tap_stops_no_other_and_comes_back(house: House, tablet: Page) -> None:
    """One that Mio may not make, one that is asked back, and a stir behind them."""
    sign_in(tablet, house, "mio")
    batch = {"entry": "batch-start", "batch": "x", "course": "night-slow"}
    hot = {"entry": "check", "celsius": "25", "form": "check"}
    plant(tablet, a_tap(house, 1, **batch), a_tap(house, 2, **hot), a_tap(house, 3, entry="stir"))
    wait_for(lambda: stirs(house))
    expect(tablet.locator("#untold b")).to_have_text("2")
    expect(tablet.locator("#untold")).to_contain_text("This account may not do that")
    expect(tablet.locator("#untold")).to_contain_text("The probe reads")
    asked = tablet.locator("#untold li", has_text="The probe reads")
    asked.locator(".again").tap()
    expect(tablet.get_by_role("alert")).to_contain_text("The probe reads")
    expect(tablet.locator("#check-celsius")).to_have_value("25")
    expect(tablet.locator("#untold b")).to_have_text("1")
    form = tablet.locator("form", has=tablet.locator("#check-celsius"))
    form.get_by_role("button").tap()
    wait_for(lambda: logged(house, Check))
    (check,) = [one for one in logged(house, Check) if one.way == "page"]
    assert check.at == pytest.approx(house.watch.clock() - 1200.0, abs=1.0)
    assert check.by == "mio" and stirs(house)[0].at == pytest.approx(check.at, abs=1.0)


def test_a_clock_that_is_set_meanwhile_moves_no_tap(house: House, tablet: Page) -> None:
    """A tablet finds its network, and with it the year; the watch's own clock counts."""
    sign_in(tablet, house, "mio")
    cut_off(tablet)
    began = house.watch.clock()
    tap_stir(tablet)
    expect(tablet.locator("#untold b")).to_have_text("1")
    house.watch.pass_time(1800.0)
    tablet.clock.set_system_time("2031-05-01T12:00:00Z")
    there_again(tablet)
    wait_for(lambda: stirs(house))
    assert began <= stirs(house)[0].at < began + 60.0
