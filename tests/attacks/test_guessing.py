"""Who guesses passwords is slowed down; the owner of the account is not."""

from __future__ import annotations

import threading
from collections import Counter
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

import httpx
import pytest
from argon2 import PasswordHasher

from kuraban.edges.web.security.accounts import (
    MOST_WRONG,
    WINDOW,
    Accounts,
    TooOften,
)
from kuraban.edges.web.server import Pages
from kuraban.settings import Account
from tests.edges.web.conftest import Browse, Browser
from tests.edges.web.served import Served

AT = "https://kura.example"
RICE = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1).hash("rice and water")
"""Cheap to check, since these tests guess hundreds of times."""
MIO = Account("mio", "log", "Mio", None, RICE)
STRANGERS = [f"203.0.113.{number}" for number in range(1, 30)]
BURST = 150


@pytest.fixture(autouse=True)
def guarded(served: Served) -> None:
    served.with_accounts(MIO)


def guess(known: Accounts, address: str, device: str | None = None) -> str:
    try:
        return "heard" if known.admit("mio", "rice", address, device) is None else "in"
    except TooOften:
        return "not heard"


def locked() -> Accounts:
    """Guessers at many addresses have tried until the account was closed to strangers."""
    known = Accounts([MIO], lambda: 1_770_000_000.0)
    told = [guess(known, address) for address in STRANGERS for _ in range(MOST_WRONG["address"])]
    assert told.count("heard") == MOST_WRONG["account"]
    return known


def test_a_burst_is_counted_as_truly_as_one_after_the_other() -> None:
    """However many come at once, ten of an address are heard."""
    known = Accounts([MIO], lambda: 1_770_000_000.0)
    begin = threading.Barrier(BURST)

    def one(_: int) -> str:
        begin.wait()
        return guess(known, "203.0.113.9")

    with ThreadPoolExecutor(BURST) as crowd:
        told = Counter(crowd.map(one, range(BURST)))
    assert told["heard"] <= MOST_WRONG["address"] and told["in"] == 0
    rest = MOST_WRONG["address"] - told["heard"]
    assert [guess(known, "203.0.113.9") for _ in range(rest + 1)].count("heard") == rest


def test_a_burst_over_the_wire_is_too(port: int) -> None:
    """And the pages are there for others within it."""
    here = f"http://127.0.0.1:{port}"
    page = httpx.get(f"{here}/login")
    token = page.text.partition('name="token" content="')[2][:32]
    form = {"name": "mio", "password": "wrong", "token": token}
    cookies = dict(page.cookies)

    def one(_: int) -> int:
        return httpx.post(f"{here}/login", data=form, cookies=cookies, timeout=60).status_code

    with ThreadPoolExecutor(50) as crowd:
        told = Counter(crowd.map(one, range(BURST)))
    assert told[401] <= MOST_WRONG["address"] and told[401] + told[429] == BURST


def test_a_device_on_which_it_was_opened_before_is_let_through() -> None:
    """From anywhere, even from where the guessing comes from."""
    known = locked()
    for address in ("203.0.113.77", STRANGERS[0]):
        assert known.admit("mio", "rice and water", address, "phone") is MIO


def test_the_house_s_own_network_is_let_through() -> None:
    """Whatever device it is; only its own address counts."""
    assert locked().admit("mio", "rice and water", "192.168.1.20") is MIO


def test_a_stranger_waits_until_it_is_over() -> None:
    now = 1_770_000_000.0
    known = Accounts([MIO], lambda: now)
    for address in STRANGERS:
        guess(known, address)
        guess(known, address)
    with pytest.raises(TooOften) as often:
        known.admit("mio", "rice and water", "203.0.113.99")
    assert often.value.seconds <= WINDOW


def test_a_known_device_guesses_no_better_than_a_stranger() -> None:
    """Somebody took it: it counts for itself, and the account stays open to others."""
    known = Accounts([MIO], lambda: 1_770_000_000.0)
    told = [guess(known, address, "stolen") for address in STRANGERS]
    assert told.count("heard") == MOST_WRONG["device"]
    assert known.admit("mio", "rice and water", "203.0.113.99") is MIO


def test_all_addresses_of_one_customer_are_one() -> None:
    """Of IPv6 everybody has more than can be counted."""
    known = Accounts([MIO], lambda: 1_770_000_000.0)
    told = [guess(known, f"2001:db8::{number:x}") for number in range(1, 40)]
    assert told.count("heard") == MOST_WRONG["address"]


def test_an_own_account_forgives_no_guesses() -> None:
    """Somebody of the house who signs in between his guesses at another's account."""
    known = Accounts([MIO, Account("cho", "look", "Cho", None, RICE)], lambda: 1_770_000_000.0)
    told = []
    for _ in range(MOST_WRONG["address"] + 1):
        told.append(guess(known, "203.0.113.9"))
        try:
            known.admit("cho", "rice and water", "203.0.113.9")
        except TooOften:
            continue
    assert told.count("heard") == MOST_WRONG["address"]


def worn_out(guesser: Browser) -> None:
    for _ in range(MOST_WRONG["address"]):
        assert guesser.sign_in("mio", "wrong").status_code == 401
    assert guesser.sign_in("mio", "rice and water").status_code == 429


def test_the_owner_s_phone_signs_in_where_a_guesser_waits(
    browse: Browse, pages: Callable[[], Pages]
) -> None:
    """Behind the same address: the phone bears a mark of having been in before."""
    app = pages().app
    phone = browse(at=AT, app=app, address=STRANGERS[0])
    phone.sign_in("mio", "rice and water")
    phone.post("/logout", data={"token": phone.token()})
    worn_out(browse(at=AT, app=app, address=STRANGERS[0]))
    assert phone.sign_in("mio", "rice and water").status_code == 303


def test_a_mark_that_was_made_up_is_none(browse: Browse, pages: Callable[[], Pages]) -> None:
    app = pages().app
    guesser = browse(at=AT, app=app, address=STRANGERS[1])
    worn_out(guesser)
    guesser.cookies.set("kuraban-device", "WyJ4IiwwLFsibWlvIl1d.made-up", domain="kura.example")
    assert guesser.sign_in("mio", "rice and water").status_code == 429


def test_a_mark_of_one_account_is_none_for_another(
    served: Served, browse: Browse, pages: Callable[[], Pages]
) -> None:
    served.with_accounts(MIO, Account("cho", "look", "Cho", None, RICE))
    tablet = browse(at=AT, app=pages().app, address=STRANGERS[2])
    tablet.sign_in("cho", "rice and water")
    tablet.post("/logout", data={"token": tablet.token()})
    worn_out(tablet)
    assert tablet.sign_in("cho", "rice and water").status_code == 303
