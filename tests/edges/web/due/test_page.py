"""The work due on one page, and for programs."""

from __future__ import annotations

import html
import re

import pytest

from kuraban.core import entries as e
from kuraban.core.facts import Logged
from tests.edges.web.conftest import Browse, Browser, account
from tests.edges.web.served import Served
from tests.passwords import hashed


def section(text: str, name: str) -> str:
    found = re.search(rf'<section aria-labelledby="{name}">(.*?)</section>', text, re.DOTALL)
    assert found is not None
    return html.unescape(re.sub(r"<[^>]+>", " ", found[1]))


def test_late_today_ahead_and_done_stand_apart(browse: Browse) -> None:
    """At ten past three: four tanks of the evening's round were left, Ken promised chiller 1."""
    text = browse().page("/due")
    assert "20:30 Stir round, 4 of 6 tanks left" in section(text, "late")
    today = section(text, "today")
    assert "05:46 Chiller 1: stopped, Ken has it" in today
    assert "reset a breaker once" in today and "Local rules first" in today
    assert "Tank 6: pressing" in section(text, "ahead")
    done = section(text, "done")
    assert "Koji bed 1: shimai-shigoto begins (Mio)" in done


def test_the_page_speaks_japanese(browse: Browse) -> None:
    text = browse("ja").page("/due")
    assert "櫂入れ 残り4本（6本中）" in section(text, "late")
    assert "タンク6" not in text and "上槽" in section(text, "ahead")


def test_a_round_that_is_done_names_the_hands(served: Served, browse: Browse) -> None:
    now = served.clock()
    for number in range(3, 7):
        served.submit(Logged(f"s{number}", f"tank-{number}", e.Stir(), now, now, by="sho"))
    text = browse().page("/due")
    assert "✓ Stir round, 0 of 6 tanks left, Mio, Sho" in " ".join(section(text, "done").split())
    assert "20:30" not in section(text, "late")


def test_the_cellar_leads_to_it(browse: Browse) -> None:
    assert 'href="/due"' in browse().page("/")


def test_programs_get_the_same(served: Served, browse: Browse) -> None:
    told = browse().get("/api/v1/due").json()
    late = [one for one in told if one["late"]]
    assert [(one["kind"], one["left"]) for one in late] == [("round", [6, 6]), ("round", [4, 6])]
    assert {one["kind"] for one in told} >= {"stage", "press", "round", "promise"}
    assert [one["at"] for one in told] == sorted(one["at"] for one in told)


def test_the_address_is_shown_to_its_person_alone(served: Served, browse: Browse) -> None:
    """Nobody makes one for another; who manages may withdraw it."""
    served.with_accounts(
        account("mio", "log", hashed("one pass word")),
        account("aki", "manage", hashed("two pass word")),
    )  # fmt: skip
    mio, aki = browse(), browse()
    mio.sign_in("mio", "one pass word")
    aki.sign_in("aki", "two pass word")

    def press(browser: Browser, **fields: str) -> int:
        told = {"token": browser.token(), **fields}
        return browser.post("/due/calendar", data=told).status_code

    assert "/calendar/" not in mio.page("/due")
    assert press(mio, person="mio", do="renew") == 303
    assert "/calendar/" in mio.page("/due")
    assert "/calendar/" not in aki.page("/due") + aki.page("/setup")
    assert press(aki, person="mio", do="renew") == 403 and press(mio, person="aki") == 403
    assert press(mio, person="aki", do="withdraw") == 403
    assert press(mio, person="nobody") == 404
    assert "Withdraw Mio" in html.unescape(aki.page("/setup"))
    assert press(aki, person="mio", do="withdraw") == 303
    assert "/calendar/" not in mio.page("/due")


@pytest.mark.parametrize("text", ["<b>x</b>", '"><script>alert(1)</script>'])
def test_markup_of_a_name_stays_text(served: Served, browse: Browse, text: str) -> None:
    now = served.clock()
    served.submit(Logged("x", "tank-1", e.Handwork(), now, now, by=text))
    assert text not in browse().page("/due")
