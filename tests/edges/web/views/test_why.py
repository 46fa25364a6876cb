"""Why, on a page and for a program: the same answer, one after the other."""

from __future__ import annotations

import re
from concurrent.futures import ThreadPoolExecutor
from threading import BoundedSemaphore

import pytest

from kuraban.edges.web.views import why
from tests.edges.web.conftest import Browse
from tests.edges.web.served import Served

AT_ELEVEN = "2026-02-03T23:30"


def text_of(html: str) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", html))


@pytest.mark.parametrize(
    ("language", "words"),
    [("en", ("Why? Tank 5", "believed, from t5-mid", "Rings above", "spent")),
     ("ja", ("なぜ？ Tank 5", "t5-midの値を採用", "続くと鳴る", "経過"))],
)  # fmt: skip
def test_a_tank_on_its_way_out_says_how_far_it_is(
    browse: Browse, language: str, words: tuple[str, ...]
) -> None:
    """Ten minutes before it rings: the bar, and the same in text."""
    html = browse(language).page(f"/why/tank-5?at={AT_ELEVEN}")
    text = text_of(html)
    for word in words:
        assert word in text
    bar = re.search(r'<progress max="3600" value="(\d+)" aria-label="[^"]+"></progress>', html)
    assert bar is not None and 2400 <= int(bar[1]) <= 3600
    assert f'value="{AT_ELEVEN}"' in html


def test_why_is_asked_from_every_alarm_and_from_every_place_and_cooler(browse: Browse) -> None:
    browser = browse()
    for path, link in (
        ("/", "/why/chiller-1#stopped"),
        ("/place/tank-3", "/why/tank-3"),
        ("/coolers/chiller-2", "/why/chiller-2"),
    ):
        assert f'href="{link}"' in browser.page(path)
    asked = re.findall(r'href="(/why/[^"#]+)', browser.page("/rings"))
    assert asked and all(browser.get(address).status_code == 200 for address in set(asked))


def test_the_watch_itself_is_asked_like_everything_else(browse: Browse) -> None:
    text = text_of(browse().page("/why/watch"))
    assert "probes answer" in text and "It works." in text and "most probes silent" in text


def test_a_ring_of_the_past_is_asked_of_at_its_moment(browse: Browse) -> None:
    """It says that it was told, whatever stands now."""
    (asked,) = re.findall(r'href="(/why/tank-5[?][^"]+)#warm"', browse().page("/rings"))
    text = text_of(browse().page(asked).partition('id="warm"')[2])
    assert "alarm 23:40, nobody has it yet" in text


@pytest.mark.parametrize(
    ("asked", "status", "says"),
    [("tank-9", 404, "did you mean one of tank-"),
     ("tank-5?at=2031-01-01T00:00", 404, "lies ahead"),
     ("tank-5?at=soon", 422, "not a time")],
)  # fmt: skip
def test_what_cannot_be_answered_is_said(
    browse: Browse, asked: str, status: int, says: str
) -> None:
    page = browse().get(f"/why/{asked}")
    assert page.status_code == status and says in text_of(page.text).replace("&#34;", '"')
    told = browse().get(f"/api/v1/why/{asked}")
    assert told.status_code in (404, 422) and "detail" in told.json()


def test_a_program_gets_what_the_page_shows(served: Served, browse: Browse) -> None:
    answer = browse().get("/api/v1/why/tank-5", params={"at": f"{AT_ELEVEN}:00+09:00"})
    (told,) = answer.json()
    assert told["at"] == f"{AT_ELEVEN}:00+09:00"
    (warm,) = [one for one in told["conditions"] if one["condition"] == "warm"]
    assert warm["hand"] == "waits" and warm["delay"]["wanted"] == 3600


def test_who_comes_second_waits_for_the_first(browse: Browse) -> None:
    browser = browse()
    with why._turn, ThreadPoolExecutor(1) as beside:
        second = beside.submit(browser.get, "/why/tank-5")
        with pytest.raises(TimeoutError):
            second.result(0.3)
        why._turn.release()
        assert second.result(30).status_code == 200
        why._turn.acquire()


@pytest.mark.parametrize(("patience", "room"), [(0.0, 4), (10.0, 0)], ids=["long", "many"])
def test_nobody_waits_for_long_nor_among_many(
    browse: Browse, monkeypatch: pytest.MonkeyPatch, patience: float, room: int
) -> None:
    """They are sent away with a sentence."""
    browser = browse()
    monkeypatch.setattr(why, "PATIENCE", patience)
    monkeypatch.setattr(why, "_waiting", BoundedSemaphore(4))
    for _ in range(4 - room):
        why._waiting.acquire()
    with why._turn:
        page = browser.get("/why/tank-5")
        told = browser.get("/api/v1/why/tank-5")
    assert page.status_code == told.status_code == 429
    assert "Others ask why just now" in page.text
    assert "Others ask why" in told.json()["detail"] and told.headers["retry-after"]
    monkeypatch.undo()
    assert browser.get("/why/tank-5").status_code == 200


def test_none_takes_longer_than_it_may(browse: Browse, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(why, "LONGEST", -1.0)
    answer = browse().get(f"/why/tank-5?at={AT_ELEVEN}")
    assert answer.status_code == 429 and "kuraban why" in answer.text
