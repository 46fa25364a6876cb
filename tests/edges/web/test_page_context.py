"""Who is asking, and what they may do."""

from __future__ import annotations

import pytest

from kuraban.core.fates.entry_authority import MANAGES
from kuraban.edges.signing import Visit
from kuraban.edges.web.page_context import RANKS, Visitor
from kuraban.settings import Account
from tests.edges.web.conftest import Browse
from tests.edges.web.served import Served
from tests.passwords import hashed

RICE = hashed("rice and water")
ACCOUNTS = (
    Account("aki", "manage", "Aki", "ja", RICE),
    Account("mio", "log", "Mio", None, RICE),
    Account("visitor", "look", "Visitor", None, RICE),
)


@pytest.fixture
def guarded(served: Served) -> Served:
    served.with_accounts(*ACCOUNTS)
    return served


@pytest.mark.parametrize(
    ("role", "entry", "may"),
    [
        ("look", "stir", False),
        ("log", "stir", True),
        ("log", "batch-end", False),
        ("log", "acknowledge", True),
        ("manage", "batch-end", True),
        ("manage", "stir", True),
    ],
)
def test_each_role_may_what_the_ones_below_may(role: str, entry: str, may: bool) -> None:
    """Only who manages begins and ends batches, or stops the watching of something."""
    visitor = Visitor(Visit("n", 0.0), role, "aki", "en")  # type: ignore[arg-type]
    assert visitor.may_make({"entry": entry}) is may
    assert list(RANKS) == ["look", "log", "manage"]
    assert "out-of-service" in MANAGES


@pytest.mark.parametrize("path", ["/", "/round", "/rings", "/place/tank-1", "/live/cellar"])
def test_nobody_looks_without_an_account(guarded: Served, browse: Browse, path: str) -> None:
    """They are led to the entrance, and from there back."""
    answer = browse(at="https://kura.example").get(path)
    assert answer.status_code == 303
    assert answer.headers["location"] == f"/login?next={path}"


def test_the_language_is_the_accounts(guarded: Served, browse: Browse) -> None:
    """Aki reads Japanese whatever the tablet says; ?lang= is stronger, and is remembered."""
    browser = browse("en", at="https://kura.example")
    browser.sign_in("aki", "rice and water")
    assert '<html lang="ja">' in browser.page("/")
    assert '<html lang="en">' in browser.page("/?lang=en")
    assert '<html lang="en">' in browser.page("/rings")


def test_an_entry_is_by_the_account(guarded: Served, browse: Browse) -> None:
    """Whatever the entry says of itself."""
    browser = browse(at="https://kura.example")
    browser.sign_in("mio", "rice and water")
    browser.tap("tank-1", entry="stir", by="aki", id="x")
    told = browser.get("/api/v1/entries/tank-1").json()
    assert [one["by"] for one in told if one["id"] == "x"] == ["mio"]


def test_who_looks_only_is_shown_no_buttons_and_can_press_none(
    guarded: Served, browse: Browse
) -> None:
    """Neither on the page nor past it."""
    browser = browse(at="https://kura.example")
    browser.sign_in("visitor", "rice and water")
    assert 'class="tap' not in browser.page("/place/tank-1")
    assert browser.tap("tank-1", entry="stir").status_code == 403


def test_who_logs_does_not_end_a_batch(guarded: Served, browse: Browse) -> None:
    """That takes the role `manage`."""
    browser = browse(at="https://kura.example")
    browser.sign_in("mio", "rice and water")
    assert browser.tap("tank-1", entry="batch-end").status_code == 403
    still = guarded.snapshot().place("tank-1")
    assert still is not None and still.batch is not None


def test_a_new_password_ends_the_sessions_of_the_old(guarded: Served, browse: Browse) -> None:
    """The cookie that was taken is worth nothing afterwards."""
    browser = browse(at="https://kura.example")
    browser.sign_in("mio", "rice and water")
    cookie = browser.cookies["kuraban"]
    changed = Account("mio", "log", "Mio", None, hashed("rice and koji"))
    guarded.with_accounts(changed)
    later = browse(at="https://kura.example")
    answer = later.get("/", headers={"cookie": f"kuraban={cookie}"})
    assert answer.status_code == 303


def test_a_program_signs_in_with_each_request(guarded: Served, browse: Browse) -> None:
    """And needs no form's token; a wrong password is told in JSON."""
    browser = browse(at="https://kura.example")
    told = browser.ask("GET", "/api/v1/picture", auth=("mio", "rice and water"))
    assert told.status_code == 200
    kept = browser.ask(
        "POST", "/api/v1/entries/tank-1", auth=("mio", "rice and water"), json={"entry": "stir"}
    )
    assert kept.json()["state"] == "kept"
    refused = browser.ask("GET", "/metrics", auth=("mio", "wrong"))
    assert refused.status_code == 401 and "sign in" in refused.json()["detail"]


def test_without_accounts_one_says_who_one_is(served: Served, browse: Browse) -> None:
    """The name goes into entries from this browser."""
    browser = browse()
    browser.post("/who", data={"person": "mio", "token": browser.token(), "next": "/round"})
    browser.tap("tank-1", entry="stir", id="x")
    told = browser.get("/api/v1/entries/tank-1").json()
    assert [one["by"] for one in told if one["id"] == "x"] == ["mio"]
