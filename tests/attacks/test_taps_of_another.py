"""What one person tapped is never written down as another's, whatever a browser sends."""

from __future__ import annotations

import pytest

from kuraban.settings import Account
from kuraban.store.history import History
from tests.edges.web.conftest import Browse
from tests.edges.web.served import Served
from tests.passwords import hashed

AT = "https://kura.example"
RICE = hashed("rice and water")
MIO, BOSS = (
    Account("mio", "log", "Mio", None, RICE),
    Account("boss", "manage", "Boss", None, RICE),
)
JSON = {"accept": "application/json"}


def stirrers(served: Served) -> list[str | None]:
    history = History(served.path)
    found = [one.by for one in history.entries("tank-1", served.clock() - 60, 1e12)]
    history.close()
    return found


def test_a_tap_that_mio_made_is_not_the_boss_s(served: Served, browse: Browse) -> None:
    """It is not taken, and may be sent again: it waits until she is signed in."""
    served.with_accounts(MIO, BOSS)
    tablet = browse(at=AT)
    tablet.sign_in("boss", "rice and water")
    form = {"entry": "stir", "maker": "mio", "token": tablet.token()}
    answer = tablet.post("/log/tank-1", data=form, headers=JSON)
    assert answer.status_code == 409 and "sign in" in answer.json()["detail"]
    page = tablet.post("/log/tank-1", data=form)
    assert page.status_code == 409 and "waits until they sign in" in page.text
    assert stirrers(served) == []
    tablet.sign_in("mio", "rice and water")
    answer = tablet.post("/log/tank-1", data={**form, "token": tablet.token()}, headers=JSON)
    assert answer.status_code == 200 and stirrers(served) == ["mio"]


def test_a_page_left_open_by_mio_sends_nothing_as_the_boss(served: Served, browse: Browse) -> None:
    """Its token was hers; that it belongs to her is said before that it is not known."""
    served.with_accounts(MIO, BOSS)
    tablet = browse(at=AT)
    tablet.sign_in("mio", "rice and water")
    old = tablet.token()
    tablet.sign_in("boss", "rice and water")
    form = {"entry": "stir", "maker": "mio", "token": old}
    assert tablet.post("/log/tank-1", data=form, headers=JSON).status_code == 409
    assert tablet.post("/log/tank-1", data={"entry": "stir", "token": old}).status_code == 403
    assert stirrers(served) == []


@pytest.mark.parametrize(("maker", "by"), [("mio", "mio"), ("", None), ("<b>", None)])
def test_without_accounts_a_tap_keeps_the_name_under_which_it_was_made(
    served: Served, browse: Browse, maker: str, by: str | None
) -> None:
    """Though somebody else has said since then that entries are by them."""
    browser = browse()
    browser.post("/who", data={"person": "aki", "token": browser.token()})
    assert browser.tap("tank-1", entry="stir", maker=maker).status_code == 303
    assert stirrers(served) == [by]


@pytest.mark.parametrize("tapped", ["nan", "-5", "soon", "1e99", "1770142200e9"])
def test_a_tap_of_no_time_is_refused_or_dated_now(
    served: Served, browse: Browse, tapped: str
) -> None:
    answer = browse().tap("tank-1", entry="stir", tapped=tapped)
    assert answer.status_code in (303, 422)
    history = History(served.path)
    times = [one.at for one in history.entries("tank-1", served.clock() - 60, 1e12)]
    history.close()
    assert all(at == served.clock() for at in times)


def test_a_tap_counts_by_the_watch_s_own_clock(served: Served, browse: Browse) -> None:
    """Whatever the phone's says by then."""
    made = served.clock() - 1200.0
    served.pass_time(600.0)
    browse().tap("tank-1", entry="stir", tapped=str(made))
    stirred = served.snapshot().place("tank-1")
    assert stirred is not None and stirred.last_stir == pytest.approx(made, abs=0.01)
