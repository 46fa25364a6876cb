"""A visit that is over is over on every device, whoever has its cookie."""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Callable

import httpx
import pytest

from kuraban.edges.web.security.signed_out import FILE
from kuraban.edges.web.server import Pages
from kuraban.settings import Account, Web
from kuraban.store.history import History
from tests.edges.web.conftest import Browse, Browser
from tests.edges.web.served import Served
from tests.passwords import hashed

AT = "https://kura.example"
RICE, KOJI = hashed("rice and water"), hashed("rice and koji")


@pytest.fixture(autouse=True)
def guarded(served: Served) -> None:
    served.with_accounts(Account("mio", "log", "Mio", None, RICE))


def copied(browser: Browser, other: Browser) -> Browser:
    """The other browser, with the first one's cookie."""
    other.cookies.set("kuraban", browser.cookies["kuraban"], domain="kura.example", path="/")
    return other


def stirs(served: Served) -> int:
    history = History(served.path)
    found = [type(one.entry).__name__ for one in history.entries("tank-1", 0, 1e12)]
    history.close()
    return found.count("Stir")


def signed_in(browse: Browse, app: object = None) -> Browser:
    browser = browse(at=AT, app=app)
    assert browser.sign_in("mio", "rice and water").status_code == 303
    return browser


def reads_and_writes_nothing(served: Served, thief: Browser, token: str) -> None:
    before = stirs(served)
    for path in ("/", "/place/tank-1", "/api/v1/picture", "/live/cellar", "/metrics"):
        assert thief.get(path).status_code in (303, 401), path
    form = {"entry": "stir", "token": token}
    assert thief.post("/log/tank-1", data=form).status_code in (303, 401)
    headers = {"x-kuraban-token": token}
    told = thief.post("/api/v1/entries/tank-1", json={"entry": "stir"}, headers=headers)
    assert told.status_code == 401
    assert stirs(served) == before


def test_a_copied_cookie_is_worth_nothing_once_its_owner_signed_out(
    served: Served, browse: Browse, pages: Callable[[], Pages]
) -> None:
    """Nor after the pages have started again, since a cookie is good for a month."""
    app = pages().app
    mio = signed_in(browse, app)
    token = mio.token()
    thief = copied(mio, browse(at=AT, app=app))
    assert thief.get("/place/tank-1").status_code == 200
    mio.post("/logout", data={"token": token})
    reads_and_writes_nothing(served, thief, token)
    again = browse(at=AT, app=pages().app)
    reads_and_writes_nothing(served, copied(thief, again), token)


def test_who_comes_back_begins_anew(browse: Browse, pages: Callable[[], Pages]) -> None:
    app = pages().app
    mio = signed_in(browse, app)
    mio.post("/logout", data={"token": mio.token()})
    assert signed_in(browse, app).get("/").status_code == 200


def test_signing_out_of_one_device_leaves_the_others(
    browse: Browse, pages: Callable[[], Pages]
) -> None:
    """Whoever signs out of the tablet in the cellar wants to be called in bed."""
    app = pages().app
    tablet, phone = signed_in(browse, app), signed_in(browse, app)
    tablet.post("/logout", data={"token": tablet.token()})
    assert (tablet.get("/").status_code, phone.get("/").status_code) == (303, 200)


def test_whoever_signs_in_next_ends_the_visit_before(
    served: Served, browse: Browse, pages: Callable[[], Pages]
) -> None:
    """On a tablet where nobody signs out."""
    served.with_accounts(
        Account("mio", "log", "Mio", None, RICE), Account("sho", "log", "Sho", None, KOJI)
    )
    app = pages().app
    tablet = signed_in(browse, app)
    thief = copied(tablet, browse(at=AT, app=app))
    assert tablet.sign_in("sho", "rice and koji").status_code == 303
    assert thief.get("/").status_code == 303


def test_a_new_password_ends_every_visit_of_the_old_one(
    served: Served, browse: Browse, pages: Callable[[], Pages]
) -> None:
    mio = signed_in(browse, pages().app)
    token = mio.token()
    served.with_accounts(Account("mio", "log", "Mio", None, KOJI))
    reads_and_writes_nothing(served, copied(mio, browse(at=AT, app=pages().app)), token)


def test_an_open_page_is_sent_nothing_more(
    served: Served, pages: Callable[[], Pages], port: int
) -> None:
    """Over a connection that was opened before: it ends with the next picture."""
    here = f"http://127.0.0.1:{port}"
    with httpx.Client(base_url=here) as mio:
        token = mio.get("/login").text.partition('name="token" content="')[2][:32]
        form = {"name": "mio", "password": "rice and water", "token": token}
        assert mio.post("/login", data=form).status_code == 303
        token = mio.get("/").text.partition('name="token" content="')[2][:32]
        jar = dict(mio.cookies)
        with httpx.stream("GET", f"{here}/live/cellar", cookies=jar, timeout=10) as live:
            lines = live.iter_lines()
            first = next(line for line in lines if line.startswith("data: "))
            assert "row-tank-1" in json.loads(first.removeprefix("data: "))
            assert mio.post("/logout", data={"token": token}).status_code == 303
            served.pass_time(60.0)
            assert not [line for line in lines if line.startswith("data: ")]


def test_a_list_that_cannot_be_read_closes_the_pages_to_nobody(
    served: Served, browse: Browse, pages: Callable[[], Pages]
) -> None:
    """Somebody may have an alarm to answer; signing out works on, until the pages end."""
    served.path.with_name(FILE).write_text("damaged" * 500)
    app = pages().app
    mio = signed_in(browse, app)
    token, thief = mio.token(), copied(mio, browse(at=AT, app=app))
    mio.post("/logout", data={"token": token})
    reads_and_writes_nothing(served, thief, token)


def test_cookies_of_the_pages_are_for_them_alone(served: Served, browse: Browse) -> None:
    """No script reads them, no other site sends them, and under TLS nothing else carries them."""
    web = dataclasses.replace(served.settings.web or Web(), public=AT)
    served.settings = dataclasses.replace(served.settings, web=web)
    given = signed_in(browse).get("/").headers.get_list("set-cookie")
    answer = browse(at=AT)
    for cookie in (*given, *answer.sign_in("mio", "rice and water").headers.get_list("set-cookie")):
        low = cookie.lower()
        assert "httponly" in low and "samesite=strict" in low and "secure" in low
