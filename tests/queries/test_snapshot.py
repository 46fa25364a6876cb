"""Pictures show the watch as it stands and leave no trace in it."""

from __future__ import annotations

import time
from itertools import pairwise
from pathlib import Path

import pytest

from kuraban.core import entries as e
from kuraban.core.effects import Message, Step
from kuraban.core.engine.engine import Engine
from kuraban.core.facts import Logged
from kuraban.core.units import HOUR, MINUTE
from kuraban.core.views.snapshot import PlaceNow, Snapshot
from kuraban.queries.place_status import going_of
from kuraban.queries.snapshot import Painter
from kuraban.recording import merged
from kuraban.replay import Player
from kuraban.settings import load
from kuraban.settings.catalogues import load_words
from tests.edges.web.served import Served

ROOT = Path(__file__).parents[2]
NIGHT = ROOT / "fixtures" / "nights" / "cold-overcooling" / "recording.jsonl.gz"


@pytest.fixture(scope="module")
def lived(tmp_path_factory: pytest.TempPathFactory) -> Served:
    return Served.live(tmp_path_factory.mktemp("lived"))


@pytest.fixture
def served(lived: Served, tmp_path: Path) -> Served:
    return lived.twin(tmp_path)


def tank(snapshot: Snapshot, place: str) -> PlaceNow:
    found = snapshot.place(place)
    assert found is not None
    return found


def log(served: Served, subject: str, entry: e.Entry) -> None:
    now = served.clock()
    served.submit(Logged(str(id(entry)), subject, entry, now, now, by="aki"))


def test_whether_somebody_looks_changes_no_decision() -> None:
    """The same night with a picture every minute tells the very same story."""
    quiet, watched = _story(looked_at=False), _story(looked_at=True)
    assert quiet and watched == quiet


def _story(looked_at: bool) -> list[Step | Message]:
    house = load(ROOT / "fixtures" / "brewery" / "site.toml", {}).house
    player, told = Player(house, "kura", load_words()), list[Step | Message]()
    painter, painted = Painter(load_words()), 0.0
    for message in merged([NIGHT], lambda bad: None, lambda size: None):
        player.play(message)
        if looked_at and message.at - painted >= MINUTE:
            painter.snapshot(player.engine)
            painted = message.at
        told += player.story()
    return told


def test_before_the_house_is_known_there_is_no_picture() -> None:
    """A watch that has just begun."""
    assert Painter(load_words()).snapshot(Engine(load_words())) is None


def test_places_stand_in_the_order_of_the_site_file(lived: Served) -> None:
    """Judged or not."""
    snapshot = lived.snapshot()
    assert [p.id for p in snapshot.places] == [p.id for p in lived.settings.house.places]
    assert tank(snapshot, "starter-1").why == "no-batch"
    assert tank(snapshot, "cellar").why == "no-band"


def test_a_tank_tells_product_plan_and_day(lived: Served) -> None:
    """And where its batch goes."""
    three = tank(lived.snapshot(), "tank-3")
    assert three.batch is not None and three.product is not None
    assert three.difference == pytest.approx(three.product - 15.0)
    assert (three.word, three.batch.day, three.batch.stage) == ("as-planned", 10, "moromi")
    assert three.batch.plan.at(lived.clock()) == pytest.approx(three.planned)


def test_a_stirred_tank_is_held(served: Served) -> None:
    """Until the mask ends; the stir is the last known."""
    log(served, "tank-3", e.Stir())
    three = tank(served.snapshot(), "tank-3")
    assert (three.held, three.held_until) == ("masked", served.clock() + 30 * MINUTE)
    assert three.last_stir == served.clock() and three.leaving is None


def test_a_redrawn_plan_leaves_the_first_as_a_faint_line(served: Served) -> None:
    """The course was a hope."""
    before = tank(served.snapshot(), "tank-3")
    log(served, "tank-3", e.Aim(celsius=14.0, by=e.Moment(served.clock() + 3 * HOUR)))
    after = tank(served.snapshot(), "tank-3")
    assert before.batch is not None and before.batch.plan.first == ()
    assert after.batch is not None and after.batch.plan.first
    for at, celsius in after.batch.plan.first:
        if at != before.batch.since:
            assert before.batch.plan.at(at) == pytest.approx(celsius, abs=0.01)
    assert after.batch.plan.at(served.clock() + 3 * HOUR) == pytest.approx(14.0, abs=0.01)


def test_a_plans_line_is_the_plan_itself(lived: Served) -> None:
    """At every moment that is drawn, steps between stages included."""
    batch = lived.engine.view.batch("koji-bed-1", lived.clock())
    drawn = tank(lived.snapshot(), "koji-bed-1").batch
    assert batch is not None and drawn is not None
    for (a, _), (b, _) in pairwise(drawn.plan.points):
        if b - a > MINUTE:
            middle = (a + b) / 2
            assert drawn.plan.at(middle) == pytest.approx(batch.plan.at(middle), abs=0.001)


def test_rings_are_told_in_both_languages(lived: Served) -> None:
    """As the messages tell them; who has it stands beside."""
    ring = next(r for r in lived.snapshot().rings if r.subject == "chiller-1")
    assert ring.state == "acknowledged" and ring.by == "ken"
    assert "stopped" in ring.title["en"] and "停止" in ring.title["ja"]
    assert "ken" not in ring.body["en"]


def test_the_newest_note_about_the_house_is_the_handover(served: Served) -> None:
    """One that was taken back is not."""
    assert served.snapshot().note is None
    log(served, "watch", e.Note(text="Valve of tank 5 sticks."))
    log(served, "tank-3", e.Note(text="Smells of banana."))
    note = served.snapshot().note
    assert note == ("Valve of tank 5 sticks.", "aki", served.clock())


def test_who_would_be_rung_is_listed(lived: Served) -> None:
    """By role, in order."""
    duty = {one.role: one.people for one in lived.snapshot().duty}
    assert duty["brewer"] == ("aki", "sho") and duty["maintenance"] == ("ken", "sho")


@pytest.mark.parametrize(
    ("rate", "going"),
    [(None, None), (0.02, "level"), (0.034, "level"), (0.036, "up"), (-0.2, "down")],
)
def test_which_way_is_told_by_the_rate_as_shown(rate: float | None, going: str | None) -> None:
    """What is told must not flicker."""
    assert going_of(rate) == going


def test_a_picture_costs_the_watch_little(served: Served) -> None:
    """Under two milliseconds as a rule; no more than two drifts are reckoned anew at once."""
    spent = []
    for _ in range(40):
        served.engine.wake(served.engine.now + 1.0)
        began = time.perf_counter()
        served.painter.snapshot(served.engine)
        spent.append(time.perf_counter() - began)
    assert sorted(spent)[len(spent) // 2] < 0.002
