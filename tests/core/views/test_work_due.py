"""What is due in a house, what of it is late, and who did it."""

from __future__ import annotations

from typing import Any

import msgspec
import pytest

from kuraban.core import entries as e
from kuraban.core.facts import Logged
from kuraban.core.site import Duty, House, Swap
from kuraban.core.units import DAY, HOUR, MINUTE
from kuraban.core.views.equipment_views import CoolerNow
from kuraban.core.views.snapshot import (
    BatchNow,
    PlaceNow,
    PlanLine,
    ProbeNow,
    Ring,
    Snapshot,
    StageAhead,
)
from kuraban.core.views.work_due import Work, cautions, concerns, works_due
from kuraban.settings import built_in_courses
from tests.core.house import brewery, moment, with_rota

NOW = moment("2026-02-04T10:00")
TURNED, TURNS = moment("2026-02-04T06:00"), moment("2026-02-05T06:00")
SOUND = ProbeNow(id="mid", measures="product", value=10.0, at=NOW)


def house() -> House:
    return msgspec.structs.replace(brewery(), courses=tuple(built_in_courses()))


def batch(course: str = "moromi-ordinary-20", **more: Any) -> BatchNow:
    fields: dict[str, Any] = {
        "name": "1", "title": None, "course": course, "since": NOW - 2 * DAY, "stage": "odori",
        "stage_title": {"en": "Rest"}, "stage_since": NOW - DAY, "stage_due": None, "day": -2,
        "plan": PlanLine(points=()), **more,
    }  # fmt: skip
    return BatchNow(**fields)


def place(kind: str = "tank", name: str = "tank-1", **more: Any) -> PlaceNow:
    fields: dict[str, Any] = {"probes": (SOUND,), "brews": True, "batch": batch(), **more}
    return PlaceNow(id=name, name=name, kind=kind, **fields)


def picture(*places: PlaceNow, **more: Any) -> Snapshot:
    return Snapshot(at=NOW, site="K", day_turned=TURNED, day_turns=TURNS, places=places, **more)


def logged(entry: e.Entry, at: float, subject: str = "tank-1", by: str | None = "mio") -> Logged:
    return Logged(f"{at}", subject, entry, at, at, by=by)


def due(
    *places: PlaceNow, made: tuple[Logged, ...] = (), kind: str = "", **more: Any
) -> list[Work]:
    found = works_due(picture(*places, **more), house(), made)
    return [one for one in found if kind in ("", one.kind)]


NAKA = StageAhead(id="naka", title={"en": "naka"}, due=NOW + 2 * HOUR)


def test_an_addition_stands_at_the_hour_of_its_course_and_pressing_after_the_last() -> None:
    """A stage that begins by itself is nobody's work."""
    by_itself = StageAhead(id="moromi", title={"en": "moromi"})
    mash = place(batch=batch(ahead=(NAKA, by_itself), ends=NOW + 9 * DAY))
    stage, press = (one for one in due(mash) if one.kind in ("stage", "press"))
    assert (stage.subject, stage.stage, stage.at) == ("tank-1", {"en": "naka"}, NOW + 2 * HOUR)
    assert (press.kind, press.at) == ("press", NOW + 9 * DAY)
    assert not [one for one in due(place("starter", batch=batch(ends=NOW + DAY))) if
                one.kind == "press"]  # fmt: skip


def test_a_work_that_is_done_is_the_same_work_with_its_hand() -> None:
    before = due(place(batch=batch(ahead=(NAKA,))), kind="stage")[0]
    mark = logged(e.StageMark(stage="naka"), NOW - HOUR)
    after = due(place(), made=(mark,), kind="stage")[0]
    assert before.key == after.key and (after.done, after.by) == (NOW - HOUR, ("mio",))
    yesterday = logged(e.StageMark(stage="naka"), TURNED - HOUR)
    assert not due(place(), made=(yesterday,), kind="stage")


@pytest.mark.parametrize(("minutes", "late"), [(-5, False), (55, False), (65, True)])
def test_an_hour_after_its_time_it_is_late(minutes: float, late: bool) -> None:
    stage = at_hour(NAKA, due=NOW - minutes * MINUTE)
    (work,) = due(place(batch=batch(ahead=(stage,))), kind="stage")
    assert work.late(NOW) is late


def at_hour(stage: StageAhead, due: float) -> StageAhead:
    return StageAhead(id=stage.id, title=stage.title, due=due)


def test_a_round_counts_the_tanks_and_names_who_stirred() -> None:
    """Mashes and starters that stood there when it began; no koji, and no sake."""
    tanks = [place(name=f"tank-{n}") for n in (1, 2, 3)]
    late_come = place(name="tank-4", batch=batch(since=NOW - HOUR))
    sake = place(name="tank-5", batch=batch("sake-heated", day=None))
    made = tuple(logged(e.Stir(), TURNED + n * HOUR, f"tank-{n}", f"p{n}") for n in (1, 2))
    house_ = (*tanks, late_come, sake, place("koji-bed", "bed"))
    first, evening, *_ = due(*house_, made=made, kind="round")
    assert (first.at, first.left, first.by, first.done) == (TURNED, (1, 3), ("p1", "p2"), None)
    assert first.late(NOW) and evening.left == (4, 4) and not evening.late(NOW)
    made += (logged(e.Stir(), NOW - MINUTE, "tank-3"),)
    assert due(*house_, made=made, kind="round")[0].done == NOW - MINUTE
    assert not due(sake, kind="round")


def test_a_product_that_no_probe_tells_is_measured_by_hand() -> None:
    """Four hours after the last check, koji after one; with a good probe nobody need."""
    pulled = ProbeNow(id="mid", measures="product", value=7.0, out=True)
    made = (logged(e.Check(celsius=9.0), NOW - HOUR),)
    assert not due(place(), kind="check")
    (never,) = due(place(probes=(pulled,)), kind="check")
    assert never.at == TURNED and never.late(NOW)
    (tank,) = due(place(probes=(pulled,)), made=made, kind="check")
    (bed,) = due(place("koji-bed", probes=()), made=made, kind="check")
    assert (tank.at, bed.at) == (NOW + 3 * HOUR, NOW)


def ring(state: str, **more: Any) -> Ring:
    return Ring(subject="chiller-1", condition="stopped", name="Chiller 1", urgency="wake",
                state=state, title={}, body={}, raised=NOW - HOUR, **more)  # fmt: skip


def test_a_cooler_is_looked_at_until_somebody_has_it_and_then_by_when_they_said() -> None:
    chiller = CoolerNow(id="chiller-1", name="Chiller 1", kind="chilled-water", heats=False)
    (looked,) = due(rings=(ring("unacknowledged"),), coolers=(chiller,))
    has = ring("acknowledged", by="ken", until=NOW + HOUR)
    (promised,) = due(rings=(has,), coolers=(chiller,))
    assert looked.key == promised.key and looked.caution == "electric"
    assert (looked.kind, looked.at, looked.person) == ("cooler", NOW - HOUR, None)
    assert (promised.kind, promised.at, promised.person) == ("promise", NOW + HOUR, "ken")
    assert not due(rings=(ring("shelved"),), coolers=(chiller,))


def test_each_sees_their_own_duty_and_promises_and_what_their_role_does() -> None:
    rota = (
        Duty(role="brewer", person="aki", order=1, hours=(18 * HOUR, 8 * HOUR)),
        Duty(role="maintenance", person="ken", order=1),
    )
    swap = Swap(first="aki", second="mio", day="2026-02-05")
    house_ = msgspec.structs.replace(with_rota(house(), *rota), swaps=(swap,))
    duties = [one for one in works_due(picture(), house_, ()) if one.kind == "duty"]
    assert [(one.person, one.at) for one in duties[:3]] == [
        ("aki", moment("2026-02-03T18:00")), ("aki", moment("2026-02-04T18:00")),
        ("mio", moment("2026-02-05T18:00")),
    ]  # fmt: skip
    assert concerns(duties[0], "aki", house_) and not concerns(duties[0], "ken", house_)
    stage = Work(key="k", kind="stage", subject="tank-1", at=NOW)
    cooler = Work(key="k", kind="cooler", subject="chiller-1", at=NOW)
    held = Work(key="k", kind="promise", subject="chiller-1", at=NOW, person="Ken")
    assert [concerns(stage, one, house_) for one in ("aki", "ken", "mio")] == [True, False, True]
    assert [concerns(cooler, one, house_) for one in ("aki", "ken")] == [False, True]
    assert [concerns(held, one, house_) for one in ("aki", "ken")] == [False, True]


@pytest.mark.parametrize(
    ("kind", "course", "stage", "caution"),
    [
        ("tank", "moromi-ordinary-20", "naka", "stir"),
        ("tank", "sake-heated", "heat", "hot"),
        ("tank", "sake-heated", "store", "tank"),
        ("starter", "starter-hot-7", "shikomi", "hot"),
        ("koji-bed", "koji-box-48", "mori", "muro"),
    ],
)
def test_the_caution_is_that_of_the_work(kind: str, course: str, stage: str, caution: str) -> None:
    """Low oxygen over a mash, scalds at a heating, gas in a tank, the koji room's heater."""
    day = None if course == "sake-heated" else 1
    ahead = StageAhead(id=stage, title={"en": stage}, due=NOW)
    (work,) = due(place(kind, batch=batch(course, day=day, ahead=(ahead,))), kind="stage")
    assert work.caution == caution
    press = due(place(batch=batch(ends=NOW + DAY)), kind="press")
    assert press[0].caution == "press"


def test_a_places_page_warns_of_what_can_be_done_there_now() -> None:
    """Before the heating is logged, not after it; where spirit went in; of a tank in store."""
    ahead = (StageAhead(id="heat", title={}), StageAhead(id="cool", title={}))
    sake = place(batch=batch("sake-heated", day=None, stage="settle", ahead=ahead))
    assert cautions(sake, house()) == ("hot", "tank")
    stored = place(batch=batch("sake-heated", day=None, stage="store"))
    assert cautions(stored, house()) == ("tank",) == cautions(place(batch=None), house())
    assert cautions(place(last_work=("alcohol", NOW)), house()) == ("spirit",)
    assert cautions(place(), house()) == () and cautions(place("koji-bed"), house()) == ("muro",)
