"""One ring, one button: where the links in messages lead."""

from __future__ import annotations

import dataclasses
import re

import pytest

from kuraban.core import entries as e
from kuraban.core.facts import Logged
from kuraban.core.views.snapshot import Ring
from kuraban.edges.signing import LINK_LASTS, VERDICT_LASTS, Link, Signer, entry_id
from kuraban.store.history import History
from tests.edges.web.conftest import KEY, Browse
from tests.edges.web.served import Served


@pytest.fixture
def link(served: Served, ringing: Ring) -> Link:
    """To Sho, about a ring that nobody has answered."""
    return Link(ringing.subject, ringing.condition, "sho", "acknowledge", served.clock())


def path(link: Link) -> str:
    return f"/a/{Signer(KEY).link(link)}"


def made(served: Served, link: Link) -> list[Logged]:
    history = History(served.path)
    told = list(history.entries(link.subject, served.clock() - 7200, served.clock() + 60))
    history.close()
    return [one for one in told if one.id == entry_id(link)]


def has(served: Served, link: Link) -> str | None:
    ring = served.snapshot().ring(link.subject, link.condition)
    return None if ring is None else ring.by


def test_opening_a_link_does_nothing(served: Served, browse: Browse, link: Link) -> None:
    """Messengers open every link by themselves."""
    browser = browse()
    for method in ("GET", "HEAD", "GET"):
        browser.ask(method, path(link))
    assert not made(served, link) and has(served, link) is None


def test_the_page_shows_one_button(browse: Browse, link: Link) -> None:
    """And neither the other pages nor a form to sign in."""
    text = browse().page(path(link))
    assert len(re.findall("<button", text)) == 1 and len(re.findall("<form", text)) == 1
    assert "I have it" in text and "messages do not go out" in text


def test_the_button_answers_for_the_person_of_the_message(
    served: Served, browse: Browse, link: Link
) -> None:
    """By link, without any cookie, whoever holds the phone."""
    answer = browse().post(path(link))
    assert answer.status_code == 303
    (entry,) = made(served, link)
    assert (entry.by, entry.way) == ("sho", "link")
    assert has(served, link) == "sho"


def test_a_link_counts_once(served: Served, browse: Browse, link: Link) -> None:
    """Pressed again, it changes nothing and says when it was answered."""
    browser = browse()
    browser.post(path(link))
    served.pass_time(600.0)
    assert "Sho answered at 03:10" in browser.post(path(link)).text
    assert len(made(served, link)) == 1


def test_what_somebody_has_already_needs_no_second(
    served: Served, browse: Browse, link: Link
) -> None:
    """The page says who, and shows no button to have it as well."""
    now = served.clock()
    entry = e.Acknowledge(condition=link.condition)
    served.submit(Logged("k", link.subject, entry, now, now, by="ken"))
    text = browse().page(path(link))
    assert "Ken has it" in text and ">I have it<" not in text
    assert browse().post(path(link)).status_code == 200
    assert not made(served, link) and has(served, link) == "ken"


def test_let_it_run_states_for_how_long_and_how_much(served: Served, browse: Browse) -> None:
    """Three hours, 0.3 °C; the book says so."""
    far = dataclasses.replace(served.snapshot().rings[0], subject="tank-5", condition="warm")
    tank = Link("tank-5", "warm", "aki", "let-run", served.clock())
    browser = browse()
    served.seen(dataclasses.replace(served.snapshot(), rings=(far,)))
    text = browser.page(path(tank))
    assert "0.3℃" in text and "様子を見る" in text
    browser.post(path(tank))
    (entry,) = made(served, tank)
    assert isinstance(entry.entry, e.LetRun)
    assert (entry.entry.more, entry.entry.for_) == (0.3, 3 * 3600)


def test_an_old_link_answers_nothing(served: Served, browse: Browse, link: Link) -> None:
    """After twelve hours."""
    old = link._replace(at=served.clock() - LINK_LASTS - 1)
    answer = browse().post(path(old))
    assert answer.status_code == 410 and "twelve hours" in answer.text
    assert not made(served, old)


def test_a_ring_that_came_again_needs_its_newer_message(
    served: Served, browse: Browse, link: Link
) -> None:
    """Yesterday's answer is none to tonight's ring."""
    before = link._replace(at=served.clock() - 60)
    answer = browse().post(path(before))
    assert answer.status_code == 410 and "newest message" in answer.text
    assert not made(served, before)


def test_a_ring_that_is_over_needs_no_answer(served: Served, browse: Browse, link: Link) -> None:
    """The page says so."""
    over = link._replace(subject="tank-3", condition="warm")
    assert "nothing needs to be done" in browse().post(path(over)).text
    assert not made(served, over)


@pytest.mark.parametrize("language", ["en", "ja"])
def test_the_page_speaks_the_persons_language(browse: Browse, link: Link, language: str) -> None:
    """Aki's is Japanese, Sho's English, whatever the phone says."""
    person = "aki" if language == "ja" else "sho"
    text = browse("en" if language == "ja" else "ja").page(path(link._replace(person=person)))
    assert f'<html lang="{language}">' in text


@pytest.mark.parametrize("forged", ["x", "WyJhIl0.x", "%00", "a" * 3000])
def test_a_forged_link_is_nobodys(served: Served, browse: Browse, forged: str) -> None:
    """Told plainly; a signature of another key, another purpose, or none."""
    assert browse().get(f"/a/{forged}").status_code == 404
    assert browse().post(f"/a/{forged}").status_code == 404


def test_a_link_of_another_house_is_nobodys(served: Served, browse: Browse, link: Link) -> None:
    """Its key is another; and a person who has left answers nothing."""
    assert browse().post(f"/a/{Signer('o' * 64).link(link)}").status_code == 404
    assert browse().post(path(link._replace(person="gone"))).status_code == 404
    assert not made(served, link)


# ------------------------------------------------------------------------------------- worth it?


def asked(served: Served, at: float | None = None) -> Link:
    """From the morning report, about a ring of the night."""
    return Link("tank-3", "warm", "sho", "verdict", served.clock() if at is None else at)


def test_a_verdict_is_asked_with_three_buttons_and_opening_does_nothing(
    served: Served, browse: Browse
) -> None:
    link = asked(served)
    text = browse().page(path(link))
    assert re.findall(r'name="was" value="(\w+)"', text) == ["right", "needless", "late"]
    assert len(re.findall("<form", text)) == 1 and "Was it worth it?" in text
    assert not made(served, link)


def test_a_tap_is_the_verdict_once_and_bears_the_time_of_its_message(
    served: Served, browse: Browse
) -> None:
    """It is about the rings before the report, whatever rang since."""
    link = asked(served, served.clock() - 3000.0)
    browser = browse()
    assert browser.post(path(link), data={"was": "needless"}).status_code == 303
    browser.post(path(link), data={"was": "late"})
    (entry,) = made(served, link)
    assert entry.entry == e.Verdict(alarm="tank-3/warm", was="needless")
    assert (entry.by, entry.way, entry.at) == ("sho", "link", link.at)
    assert "Noted: needless" in browser.page(path(link))


def test_a_verdict_is_taken_for_three_days_and_only_one_of_the_three(
    served: Served, browse: Browse
) -> None:
    link = asked(served, served.clock() - 2 * 86400.0)
    assert browse().post(path(link), data={"was": "splendid"}).status_code == 200
    assert not made(served, link)
    old = asked(served, served.clock() - VERDICT_LASTS - 1)
    answer = browse().post(path(old), data={"was": "right"})
    assert answer.status_code == 410 and "three days" in answer.text


@pytest.fixture
def chiller(served: Served) -> Link:
    """To Ken, about the chiller that stopped, which he has in hand."""
    return Link("chiller-1", "stopped", "ken", "acknowledge", served.clock())


def test_who_has_a_cooler_in_hand_still_sees_what_to_do_first(
    served: Served, browse: Browse, chiller: Link
) -> None:
    """What it does not do, what hangs on it and for how long, by when it will be right."""
    text = browse().page(path(chiller))
    assert "First: display, plug, breaker." in text and "right by 05:46" in text
    assert "Not running since 02:3" in text and "Tank 2: <b>Leaves its tolerance" in text
    assert 'href="/coolers/chiller-1"' in text


def test_by_when_it_will_be_right_is_chosen(served: Served, browse: Browse, link: Link) -> None:
    """Where such a thing has a usual time; the answer carries what was chosen."""
    browse().post(path(link), data={"for": "6h"})
    (answer,) = made(served, link)
    assert isinstance(answer.entry, e.Acknowledge) and answer.entry.for_ == 6 * 3600


def test_what_was_found_and_done_is_seen_at_the_cooler(
    served: Served, browse: Browse, chiller: Link
) -> None:
    """Written from the message's link, it stands at the cooler for everybody, with who and when."""
    browser = browse()
    browser.post(path(chiller), data={"text": "Breaker reset, fan motor replaced"})
    assert "Breaker reset" in browser.page(path(chiller))
    page = browser.page("/coolers/chiller-1")
    assert "Note: Breaker reset, fan motor replaced (Ken)" in page
    forged = browser.post("/a/forged", data={"text": "nothing"})
    assert forged.status_code == 404
