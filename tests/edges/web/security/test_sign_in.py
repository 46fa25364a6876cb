"""Coming in and going out."""

from __future__ import annotations

import pytest

from kuraban.edges.web.security.accounts import MOST_WRONG
from kuraban.edges.web.security.sign_in import inside
from kuraban.settings import Account
from tests.edges.web.conftest import Browse
from tests.edges.web.served import Served
from tests.passwords import hashed

AT = "https://kura.example"
RICE = hashed("rice and water")


@pytest.fixture(autouse=True)
def guarded(served: Served) -> None:
    served.with_accounts(Account("mio", "log", "Mio", None, RICE))


@pytest.mark.parametrize(
    ("asked", "led"),
    [
        ("/rings", "/rings"),
        ("/place/tank-1?range=day", "/place/tank-1?range=day"),
        ("//elsewhere.example", "/"),
        ("https://elsewhere.example/", "/"),
        ("/\\elsewhere.example", "/"),
        ("\\\\elsewhere.example", "/"),
        ("javascript:alert(1)", "/"),
        ("//[", "/"),
        ("http://[", "/"),
        ("/a\r\nset-cookie: x=1", "/"),
        ("", "/"),
    ],
)
def test_one_is_led_to_our_own_pages_only(asked: str, led: str) -> None:
    """Whatever stood in the address."""
    assert inside(asked) == led


def test_name_and_password_lead_in(browse: Browse) -> None:
    """To the page that was asked for; the browser gets a new cookie."""
    browser = browse(at=AT)
    browser.token()
    before = browser.cookies["kuraban"]
    answer = browser.sign_in("mio", "rice and water", next="/rings")
    assert (answer.status_code, answer.headers["location"]) == (303, "/rings")
    assert browser.cookies["kuraban"] != before
    assert "Mio" in browser.page("/rings")


def test_a_wrong_password_keeps_the_name_that_was_typed(browse: Browse) -> None:
    """And not the password; it says what would be right."""
    answer = browse(at=AT).sign_in("mio", "rice and koji")
    assert answer.status_code == 401
    assert 'value="mio"' in answer.text and "rice and koji" not in answer.text
    assert "small letters" in answer.text


def test_too_many_wrong_ones_wait(browse: Browse) -> None:
    """The page says for how long."""
    browser = browse(at=AT)
    for _ in range(MOST_WRONG["address"]):
        browser.sign_in("nobody", "wrong")
    answer = browser.sign_in("mio", "rice and water")
    assert answer.status_code == 429
    assert 0 < int(answer.headers["retry-after"]) <= 301
    assert "Try again in" in answer.text


def test_going_out_ends_the_session(browse: Browse) -> None:
    """The sheets are closed again."""
    browser = browse(at=AT)
    browser.sign_in("mio", "rice and water")
    browser.post("/logout", data={"token": browser.token()})
    assert browser.get("/").status_code == 303


@pytest.mark.parametrize("path", ["/login", "/logout", "/who"])
def test_no_form_counts_without_its_token(browse: Browse, path: str) -> None:
    """Not even the one to come in: nobody is signed in by another site."""
    browser = browse(at=AT)
    browser.sign_in("mio", "rice and water")
    form = {"name": "mio", "password": "rice and water", "person": "aki"}
    assert browser.post(path, data=form).status_code == 403


@pytest.mark.parametrize("language", ["en", "ja"])
def test_the_entrance_speaks_both_languages(browse: Browse, language: str) -> None:
    """Before anybody is known."""
    assert f'<html lang="{language}">' in browse(language, at=AT).page("/login")
