"""The rings: who has what, and was it worth it?"""

from __future__ import annotations

import dataclasses

import pytest

from kuraban.core.views.snapshot import Ring
from tests.edges.web.conftest import Browse
from tests.edges.web.served import Served


def states(served: Served) -> dict[str, str]:
    return {ring.id: ring.state for ring in served.snapshot().rings}


@pytest.mark.parametrize(("language", "word"), [("en", "Ken has it"), ("ja", "Kenが対応中")])
def test_standing_rings_say_who_has_them(browse: Browse, language: str, word: str) -> None:
    """In both languages."""
    assert word in browse(language).page("/rings")


def test_who_is_on_now_stands_there(browse: Browse) -> None:
    """In the order in which they would be woken."""
    assert "Aki, Sho" in browse().page("/rings")


def test_i_have_it_is_one_tap(served: Served, browse: Browse, ringing: Ring) -> None:
    """Nobody further is woken; the page says who has it."""
    browser = browse()
    browser.post("/who", data={"person": "sho", "token": browser.token()})
    browser.tap("watch", entry="acknowledge", condition=ringing.condition, back="rings")
    assert states(served)[ringing.id] == "acknowledged"
    assert "Sho has it" in browser.page("/rings")


def test_quiet_for_two_hours_with_a_reason(served: Served, browse: Browse) -> None:
    """It stands below, and is let ring again with one tap."""
    browser = browse()
    form = {"condition": "stopped", "for": "2h", "reason": "Ken repairs it", "back": "rings"}
    answer = browser.tap("chiller-1", entry="shelve", **form)
    assert answer.headers["location"].startswith("/rings?told=")
    assert states(served)["chiller-1/stopped"] == "shelved"
    assert "Quiet until 05:10" in browser.page("/rings")
    browser.tap("chiller-1", entry="unshelve", condition="stopped", back="rings")
    assert states(served)["chiller-1/stopped"] != "shelved"


@pytest.mark.parametrize(
    ("language", "told"),
    [
        ("en", "Quiet until it is over, 15:10 at the latest: Ken repairs it"),
        ("ja", "収まるまで鳴らさない。遅くとも15:10まで（Ken repairs it）"),
    ],
)
def test_quiet_until_it_is_over_with_a_reason(
    served: Served, browse: Browse, language: str, told: str
) -> None:
    """One box to tick beside the time; the reason stands there for everybody."""
    browser = browse(language)
    assert 'type="checkbox" name="once" value="true"' in browser.page("/rings")
    form = {"condition": "stopped", "for": "12h", "once": "true", "reason": "Ken repairs it"}
    browser.tap("chiller-1", entry="shelve", **form, back="rings")
    assert states(served)["chiller-1/stopped"] == "shelved"
    assert told in browser.page("/rings")


def test_past_rings_ask_for_a_verdict(served: Served, browse: Browse) -> None:
    """Once: right, needless or late."""
    browser = browse()
    text = browser.page("/rings")
    assert ">Tank 5</a>: warm" in text and "23:59 Aki" in text
    browser.tap("tank-5", entry="verdict", alarm="tank-5/warm", was="needless", back="rings")
    assert "Was it worth it? needless" in browser.page("/rings")


def test_a_week_without_rings_says_so(served: Served, browse: Browse) -> None:
    """An empty list says what it would show."""
    browser = browse()
    later = dataclasses.replace(served.snapshot(), at=served.clock() + 30 * 86400, rings=())
    served.seen(later)
    text = browser.page("/rings")
    assert "Nobody has been woken since" in text and "Nothing stands." in text


def test_without_its_journal_the_standing_rings_are_shown(served: Served, browse: Browse) -> None:
    """They come from the picture."""
    browser = browse()
    served.path.write_bytes(b"no data base any more" * 100)
    text = browser.page("/rings")
    assert "Ken has it" in text and "cannot be read" in text
