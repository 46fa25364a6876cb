"""The curve that goes with a ring: what it is drawn against, and when there is none."""

from __future__ import annotations

from pathlib import Path

import msgspec
import pytest

from kuraban.core.effects import Message
from kuraban.core.engine.engine import Engine
from kuraban.core.facts import HouseChanged
from kuraban.core.site import to_document
from kuraban.core.units import HOUR
from kuraban.queries.phone_curves import AHEAD, BACK, KEPT, Curves, known_of
from kuraban.runtime import recover
from kuraban.settings.catalogues import load_words
from kuraban.store.journal import Journal
from tests.core.house import DUSK, Night, mashing
from tests.journals import live_through


@pytest.fixture(scope="module")
def lived(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, list[Message], Engine]:
    """The night on which the chiller locked out: its journal, its rings, and the watch after it."""
    path = tmp_path_factory.mktemp("night") / "kuraban.journal"
    told = live_through("chiller-locked", path)
    journal = Journal.open(path)
    engine = recover(journal, load_words())
    journal.close()
    pages = [one for one in told if isinstance(one, Message) and one.step == "page"]
    return path, pages, engine


def test_a_ring_about_a_tank_has_a_picture(lived: tuple[Path, list[Message], Engine]) -> None:
    path, pages, engine = lived
    ring = next(page for page in pages if page.alarms[0].startswith("tank-"))
    curves = Curves(path)
    assert curves.draw(ring) is None  # nothing was put aside
    curves.remember(engine, ring)
    png = curves.draw(ring)
    assert png is not None and png.startswith(b"\x89PNG")
    japanese = msgspec.structs.replace(ring, language="ja")
    assert curves.draw(japanese) is not None


def test_a_tank_that_is_told_with_its_dead_cooler_has_one(
    lived: tuple[Path, list[Message], Engine],
) -> None:
    path, pages, engine = lived
    curves = Curves(path)
    ring = msgspec.structs.replace(pages[0], alarms=("tank-1/warm", "chiller-1/stopped"))
    curves.remember(engine, ring)
    assert curves.draw(ring) is not None


def test_a_cooler_or_several_tanks_have_none(lived: tuple[Path, list[Message], Engine]) -> None:
    path, pages, engine = lived
    curves = Curves(path)
    for alarms in (("chiller-1/stopped",), ("tank-1/warm", "tank-2/warm"), ("watch/dark",), ()):
        ring = msgspec.structs.replace(pages[0], alarms=alarms)
        curves.remember(engine, ring)
        assert curves.draw(ring) is None


def test_only_the_latest_rings_are_kept_in_mind(
    lived: tuple[Path, list[Message], Engine],
) -> None:
    path, pages, engine = lived
    curves = Curves(path)
    ring = next(page for page in pages if page.alarms[0].startswith("tank-"))
    for number in range(KEPT + 1):
        curves.remember(engine, msgspec.structs.replace(ring, id=f"m{number}"))
    assert curves.draw(msgspec.structs.replace(ring, id="m0")) is None


def test_a_tank_is_drawn_against_its_plan_and_tolerance() -> None:
    night = mashing().run(30)
    known = known_of(night.engine, "tank-3", night.now)
    assert all(low == 9.5 and high == 10.5 for _, low, high in known.band)
    assert known.band[0][0] >= night.now - BACK and known.band[-1][0] <= night.now + AHEAD
    assert {value for _, value in known.plan} == {10.0} and known.first == ()


def rising(minutes: float = 240) -> Night:
    """Tank 3 rises by 0.15 °C an hour."""
    night = mashing().run(60)
    since = night.now
    night.told["t3-mid"] = lambda at: 10.0 + 0.15 * (at - since) / HOUR
    return night.run(minutes)


def test_where_a_tank_is_going_is_drawn_as_a_fan() -> None:
    """From the value of now, along its drift, over the hours that the picture looks on."""
    night = rising()
    fan = known_of(night.engine, "tank-3", night.now).fan
    at, low, high = fan[-1]
    assert at == night.now + AHEAD and low <= high
    assert fan[0][1] == fan[0][2] == pytest.approx(10.6, abs=0.05)
    assert (low + high) / 2 == pytest.approx(10.6 + 0.45, abs=0.15)


def test_while_work_goes_on_or_nothing_is_known_there_is_no_fan() -> None:
    night = rising()
    night.log("tank-3", "stir")
    assert known_of(night.engine, "tank-3", night.now).fan == ()
    assert known_of(mashing().run(5).engine, "tank-3", DUSK + 300).fan == ()


def test_drawing_a_fan_leaves_no_trace_in_the_watch() -> None:
    night = rising()
    before = {place: track.upto for place, track in night.engine.view.memory.tracks.items()}
    night.run(3)
    tracks = {place: track.upto for place, track in night.engine.view.memory.tracks.items()}
    known_of(night.engine, "tank-4", night.now)
    assert {p: t.upto for p, t in night.engine.view.memory.tracks.items()} == tracks
    assert before.keys() <= tracks.keys()


def test_a_plan_drawn_anew_shows_the_first_one_as_well() -> None:
    night = mashing().run(30)
    night.log("tank-3", "aim", celsius=11.0, by=night.now + HOUR)
    known = known_of(night.engine, "tank-3", night.now)
    assert known.first and known.plan[-1][1] == 11.0


def test_a_store_is_drawn_against_its_band() -> None:
    night = mashing().run(1)
    known = known_of(night.engine, "store", night.now)
    assert [one[1:] for one in known.band] == [(1.0, 8.0), (1.0, 8.0)] and known.plan == ()


def test_a_place_without_batch_and_band_is_drawn_against_nothing() -> None:
    engine = Engine(load_words())
    engine.take(HouseChanged(DUSK, to_document(mashing().house)))
    assert known_of(engine, "tank-3", DUSK).band == ()
