"""One place: before a stir, what was done, and the figures behind."""

from __future__ import annotations

import dataclasses
import re

import pytest

from kuraban.core.units import DAY, HOUR, parse_time
from kuraban.core.views.snapshot import PlaceNow
from kuraban.edges.web.templating import fill
from kuraban.edges.web.translator import Translator
from kuraban.edges.web.views import place
from kuraban.settings.catalogues import load_page_words
from tests.edges.web.conftest import Browse
from tests.edges.web.served import Served

PLACES = ["tank-1", "tank-5", "starter-1", "koji-bed-1", "cellar", "koji-store"]


@pytest.mark.parametrize("language", ["en", "ja"])
@pytest.mark.parametrize("subject", PLACES)
def test_every_kind_of_place_has_its_page(browse: Browse, language: str, subject: str) -> None:
    """With a batch or without, in both languages."""
    text = browse(language).page(f"/place/{subject}")
    assert f'<html lang="{language}">' in text
    assert "<table>" in text


def test_before_a_stir_it_says_what_happened_since_the_last(browse: Browse) -> None:
    """Lowest, highest, slope, top and bottom, and never to lean over."""
    text = browse().page("/place/tank-1")
    card = text[text.index('class="card"') : text.index("</ul>", text.index('class="card"'))]
    assert "Since the last stir, 21:04: lowest" in card
    assert "t1-upper" in card and "apart" in card
    assert "never lean over" in text


@pytest.mark.parametrize(
    ("language", "said"),
    [
        ("en", r"last 10\.\d at 03:[01]\d, <span[^>]*>3 h ago"),
        ("ja", r"最後の値 10\.\d（03:[01]\d） <span[^>]*>3時間前"),
    ],
)
def test_what_nothing_measures_any_more_keeps_its_last_value_and_its_age(
    browse: Browse, served: Served, language: str, said: str
) -> None:
    """A dash where the present value would be: on its page, in the cellar, on a stir round, on the
    page of the koji. A store that falls silent keeps its row."""
    served.pass_time(3 * HOUR)
    silent = served.snapshot()
    for name, path in (("tank-5", "/place/tank-5"), ("tank-5", "/"), ("tank-5", "/round")):
        known = silent.place(name)
        assert known is not None and known.product is None and known.last is not None
        text = browse(language).page(path)
        assert re.search(said, text), path
        assert f'data-ago="{known.last[0]}"' in text
    assert 'class="last"' in browse(language).page("/koji")
    assert 'id="row-koji-store"' in browse(language).page("/")


def test_whose_entries_they_are_is_asked_beside_the_first_button(browse: Browse) -> None:
    """Not at the end of the page."""
    for path in ("/place/tank-1", "/round", "/koji", "/coolers/chiller-1", "/", "/rings"):
        text = browse().page(path)
        assert text.index('id="me"') < text.index("<footer>"), path
    text = browse().page("/place/tank-1")
    assert text.index('value="stir"') < text.index('id="me"') < text.index('value="check"')


def test_every_button_is_one_tap(browse: Browse) -> None:
    """Each is a form of its own with its own id; four steps of the plan among them."""
    text = browse().page("/place/tank-1")
    forms = re.findall(r'name="entry" value="([a-z-]+)"', text)
    for entry in ("stir", "check", "addition", "aim", "let-run", "hold", "probe-out", "note"):
        assert entry in forms
    assert forms.count("aim") == 4
    ids = re.findall(r'name="id" value="([0-9a-f-]+)"', text)
    assert len(ids) == len(set(ids)) == len(re.findall('<form class="tap', text))


def test_a_starter_has_casks_and_a_koji_bed_handwork(browse: Browse, served: Served) -> None:
    """Buttons fit the place."""
    assert 'value="handwork"' in browse().page("/place/koji-bed-1")
    assert 'value="cask-in"' not in browse().page("/place/tank-1")


def test_the_plan_goes_half_a_degree_down_by_morning(browse: Browse, served: Served) -> None:
    """Tank 3 is planned at 15.0 at six: the button says 14.5 and sends 14.5, so that a second tap
    on a page that has not caught up changes nothing more."""
    browser = browse()
    forms = re.findall(r'<form class="tap.*?</form>', browser.page("/place/tank-3"), re.DOTALL)
    (form,) = [form for form in forms if 'value="aim-0.5"' in form]
    sent = dict(re.findall(r'name="(celsius|by)" value="([^"]+)"', form))
    assert sent["celsius"] == "14.5"
    assert parse_time(sent["by"]) == parse_time("2026-02-04T06:00:00+09:00")
    for _ in range(2):
        browser.tap("tank-3", entry="aim", **sent)
        after = served.snapshot()
        tank = after.place("tank-3")
        assert tank is not None and tank.batch is not None and tank.batch.plan.first
        assert tank.batch.plan.at(after.day_turns) == pytest.approx(14.5, abs=0.06)


def shown(served: Served) -> tuple[PlaceNow, Translator]:
    """Tank 1 as it stands, and who speaks of it in English."""
    known = served.snapshot().place("tank-1")
    assert known is not None
    words = load_page_words()
    return known, Translator(words, "en", served.settings.house, served.clock())


def test_what_nothing_measures_is_not_called_safe(lived: Served) -> None:
    """Safe, unknown and uncooled are three sentences."""
    known, w = shown(lived)
    calm = dataclasses.replace(
        known, word="as-planned", leaving=None, foreseen=True, cooler_fails=None,
    )  # fmt: skip
    assert w.leaving(calm).startswith("Nothing leaves its tolerance")
    assert "too few readings" in w.leaving(dataclasses.replace(calm, foreseen=False))
    assert w.leaving(dataclasses.replace(calm, product=None)).startswith("Nothing measures it now")
    down = w.leaving(dataclasses.replace(calm, cooler="chiller-1", cooler_fails="stopped"))
    assert down.startswith("Chiller 1 is down.") and "Nothing leaves" not in down


def test_a_dead_chiller_stands_on_the_pages_of_its_tanks(lived: Served) -> None:
    """In the row of the cellar and on the tank's own page, with the way to the chiller."""
    known, w = shown(lived)
    down = dataclasses.replace(known, cooler="chiller-1", cooler_fails="stopped")
    assert w.cooler_fails(down) == "Chiller 1: stopped"
    assert w.cooler_fails(down) in fill(
        "_row.html", w, place=down, short=False, spark=lambda place: None
    )
    now = fill("_now.html", w, place=down)
    assert 'href="/coolers/chiller-1"' in now and w.cooler_fails(down) in now


@pytest.mark.parametrize("asked", ["day", "stir", "morning", "batch", "never", "../etc"])
def test_every_range_shows_its_figures(browse: Browse, asked: str) -> None:
    """Unknown ones show the day."""
    assert browse().get("/place/tank-1", params={"range": asked}).status_code == 200


def test_ranges_begin_where_they_say(lived: Served) -> None:
    """The day's turn, the last stir, the batch; a batch of months shows two."""
    snapshot = lived.snapshot()
    tank = snapshot.place("tank-1")
    assert tank is not None and tank.batch is not None
    assert place.span(snapshot, tank, "morning")[0] == snapshot.day_turned
    assert place.span(snapshot, tank, "stir")[0] == tank.last_stir
    assert place.span(snapshot, tank, "batch")[0] == tank.batch.since
    assert place.span(snapshot, tank, "soe")[0] == snapshot.at - DAY
    old = dataclasses.replace(tank.batch, since=0.0)
    start, end = place.span(snapshot, dataclasses.replace(tank, batch=old), "batch")
    assert end - start == place.LONGEST_BATCH


def test_without_its_journal_the_page_shows_the_present(served: Served, browse: Browse) -> None:
    """And says what is not there."""
    browser = browse()
    served.path.write_bytes(b"no data base any more" * 100)
    text = browser.page("/place/tank-1")
    assert "cannot be read" in text and "10.2" in text


def test_a_place_that_is_not_there_is_not_found(browse: Browse) -> None:
    """In the visitor's language."""
    answer = browse("ja").get("/place/tank-99")
    assert answer.status_code == 404 and "帳面" in answer.text


def test_an_open_page_is_sent_what_stands_at_its_head(lived: Served) -> None:
    """Product, difference and rings; nothing for a place that has gone."""
    w = Translator(load_page_words(), "en", lived.settings.house, lived.clock())
    parts = place.parts(None, w, lived.snapshot(), True, "tank-5")  # type: ignore[arg-type]
    assert "10.2" in parts["now"]
    assert place.parts(None, w, lived.snapshot(), True, "gone") == {}  # type: ignore[arg-type]


def test_a_stir_is_one_tap_on_the_first_screen(browse: Browse) -> None:
    """Right under the temperature, before the rings and whatever the office asks."""
    text = browse().page("/place/tank-5")
    assert text.index('id="now"') < text.index('value="stir"') < text.index('id="here"')
    assert text.index('id="here"') < text.index("/place/tank-5/sheet")


def test_what_is_set_aside_or_left_to_run_says_so_and_how_to_undo_it(
    browse: Browse, served: Served
) -> None:
    """At once, until when, with the button that undoes it."""
    browser = browse()
    browser.tap("tank-5", entry="let-run", **{"for": "3h"}, more="0.3")
    text = browser.page("/place/tank-5")
    quiet = text[text.index('id="quiet"') : text.index('id="s-before"')]
    assert "Let run until 06:10" in quiet and 'value="take-back"' in quiet
    browser.tap("tank-4", entry="out-of-service", reason="washing")
    text = browser.page("/place/tank-4")
    quiet = text[text.index('id="quiet"') : text.index('id="s-before"')]
    assert "Set aside" in quiet and 'value="in-service"' in quiet


def test_since_the_last_stir_leaves_out_what_the_probe_told_in_the_air(browse: Browse) -> None:
    """Tank 2's probe hung in the cellar at 7 °C for an hour."""
    text = browse().page("/place/tank-2")
    found = re.search(r"Since the last stir, [\d:]+: lowest ([\d.]+)", text)
    assert found is not None and float(found[1]) > 9.0
