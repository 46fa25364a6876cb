"""What an entry would do by which a tank could go wrong unseen: where each begins and ends."""

from __future__ import annotations

from typing import Any

import msgspec
import pytest

from kuraban.core.facts import Logged
from kuraban.core.fates.entry_authority import Touch
from kuraban.core.fates.entry_hazards import touch_of
from kuraban.core.intake.entry_parser import entry_from
from kuraban.core.site import Probe
from kuraban.core.units import DAY, HOUR, MINUTE
from tests.core.house import Night, brewery, mashing

NOTHING = Touch.NOTHING


def touch(night: Night, subject: str, entry: str, **fields: Any) -> Touch:
    """Of an entry that somebody is about to make."""
    members = {"id": "asked", **fields, "entry": entry}
    if "for_" in members:
        members["for"] = members.pop("for_")
    logged = entry_from(members, subject, night.house, night.now, "page", "cho")
    assert isinstance(logged, Logged), logged
    known = night.engine.view.product(subject, night.now) if subject in night.house.place else None
    seen = msgspec.structs.replace(logged, seen=None if known is None else known[0])
    return touch_of(seen, night.engine.view, night.now)


def test_work_touches_nothing() -> None:
    """A stir, an addition, a hand check, an answer: nobody need ask."""
    night = mashing().run(15)
    for entry, fields in (
        ("stir", {}), ("addition", {"what": "ice"}), ("check", {"celsius": 10.1}),
        ("acknowledge", {}), ("note", {"text": "frost"}), ("in-service", {}),
        ("hold", {"for_": "1d"}), ("move", {"to": "bed-1"}),
    ):  # fmt: skip
        assert touch(night, "tank-3", entry, **fields) is NOTHING


def test_out_of_service_matters_where_a_batch_runs() -> None:
    night = mashing()
    assert touch(night, "tank-3", "out-of-service") is Touch.OUT_OF_SERVICE
    assert touch(night, "moto-1", "out-of-service") is NOTHING
    assert touch(night, "chiller-1", "out-of-service") is NOTHING
    assert touch(night, "store", "out-of-service") is NOTHING


def test_an_end_is_early_before_the_last_stage() -> None:
    night = mashing()
    assert touch(night, "tank-3", "batch-end") is Touch.ENDS_EARLY
    night.log("tank-3", "stage", stage="last", by="aki")
    assert touch(night, "tank-3", "batch-end") is NOTHING
    assert touch(night, "moto-1", "batch-end") is NOTHING


def test_the_next_stage_is_in_turn_and_no_other() -> None:
    night = mashing()
    assert touch(night, "tank-3", "stage", stage="last") is NOTHING
    for stage in ("naka", "tome", "main"):
        assert touch(night, "tank-3", "stage", stage=stage) is Touch.STAGE_OUT_OF_TURN
    assert touch(night, "tank-3", "stage", stage="none-such") is NOTHING, "it will be refused"


@pytest.mark.parametrize(
    ("fields", "wanted"),
    [
        ({"condition": "warm", "for_": "4h"}, NOTHING),
        ({"condition": "warm", "for_": "241m"}, Touch.LONG_SHELF),
        ({"condition": "unwatched", "for_": "12h", "once": True}, Touch.LONG_SHELF),
        ({"condition": "trending-warm", "for_": "12h"}, NOTHING),
        ({"condition": "stage-overdue", "for_": "12h"}, NOTHING),
    ],
)
def test_a_shelf_is_long_beyond_four_hours_of_what_wakes(
    fields: dict[str, Any], wanted: Touch
) -> None:
    night = mashing()
    assert touch(night, "tank-3", "shelve", **fields) is wanted
    assert touch(night, "moto-1", "shelve", **fields) is NOTHING, "no batch runs there"


def test_maintenance_shelves_its_own_alarms_for_as_long_as_it_likes() -> None:
    night = mashing()
    assert touch(night, "chiller-1", "shelve", condition="stopped", for_="12h") is NOTHING
    assert touch(night, "store", "shelve", condition="warm", for_="12h") is NOTHING


@pytest.mark.parametrize(
    ("product", "more", "wanted"),
    [
        (10.0, 1.0, NOTHING), (10.0, 1.1, Touch.LETS_RUN_FAR), (10.6, 0.4, NOTHING),
        (10.6, 0.5, Touch.LETS_RUN_FAR), (9.4, 0.4, NOTHING), (9.4, 0.5, Touch.LETS_RUN_FAR),
    ],
)  # fmt: skip
def test_a_let_run_is_far_beyond_the_stages_limit(
    product: float, more: float, wanted: Touch
) -> None:
    """The limit is 1 K either side of 10 °C, whatever the product reads when somebody looks."""
    night = mashing()
    night.told["t3-mid"] = lambda at: product
    night.run(40)
    assert touch(night, "tank-3", "let-run", for_="12h", more=more) is wanted
    assert touch(night, "moto-1", "let-run", for_="12h", more=20.0) is NOTHING


def test_a_let_run_is_far_beyond_what_the_course_never_allows() -> None:
    """Though the stage's own limit would be wider."""
    house = brewery()
    mash = house.course["mash"]
    narrow = msgspec.structs.replace(mash, never=(9.5, 10.5))
    others = tuple(one for one in house.courses if one.id != "mash")
    night = mashing(msgspec.structs.replace(house, courses=(narrow, *others))).run(15)
    assert touch(night, "tank-3", "let-run", for_="1h", more=0.4) is NOTHING
    assert touch(night, "tank-3", "let-run", for_="1h", more=0.6) is Touch.LETS_RUN_FAR


@pytest.mark.parametrize(
    ("celsius", "wanted"),
    [(13.0, NOTHING), (13.1, Touch.PLANS_FAR), (7.0, NOTHING), (6.9, Touch.PLANS_FAR)],
)
def test_an_aim_is_far_three_degrees_from_the_course(celsius: float, wanted: Touch) -> None:
    night = mashing()
    later = night.now + 6 * HOUR
    assert touch(night, "tank-3", "aim", celsius=celsius, by=later) is wanted
    assert touch(night, "tank-3", "plan", points=[[later, 10.0], [later + DAY, celsius]]) is wanted


def test_a_plan_is_measured_against_the_course_and_not_against_the_last_aim() -> None:
    """Step by step it could be led anywhere."""
    night = mashing()
    night.log("tank-3", "aim", celsius=12.5, by=night.now + HOUR, who="cho")
    later = night.now + 6 * HOUR
    assert touch(night, "tank-3", "aim", celsius=15.0, by=later) is Touch.PLANS_FAR


def test_points_that_are_over_already_plan_nothing() -> None:
    night = mashing()
    points = [[night.now - HOUR, 50.0], [night.now + HOUR, 10.0]]
    assert touch(night, "tank-3", "plan", points=points) is NOTHING


def test_a_probe_may_be_taken_out_for_its_hour_and_not_kept_out() -> None:
    """Everybody pulls probes; who says it again while it is out would blind the tank."""
    night = mashing().run(15)
    assert touch(night, "t3-mid", "probe-out") is NOTHING
    assert touch(night, "tank-3", "probe-out") is NOTHING
    night.log("t3-mid", "probe-out", by="cho")
    night.told["t3-mid"] = 5.0
    night.run(30)
    assert touch(night, "t3-mid", "probe-out") is Touch.LAST_PROBE
    assert touch(night, "tank-3", "probe-out") is Touch.LAST_PROBE
    night.log("tank-3", "check", celsius=10.0, by="cho")
    assert touch(night, "t3-mid", "probe-out") is NOTHING, "somebody measures by hand"


def test_a_probe_that_is_back_and_believed_may_be_taken_out_again() -> None:
    night = mashing().run(15)
    night.log("t3-mid", "probe-out", by="cho")
    night.run(10)
    night.log("t3-mid", "probe-in", by="cho")
    night.run(60)
    assert touch(night, "t3-mid", "probe-out") is NOTHING


def test_the_last_probe_is_not_put_out_of_service_alone() -> None:
    """Of two, one may go."""
    house = brewery()
    second = Probe(id="t3-low", of="tank-3", measures="product")
    night = mashing(msgspec.structs.replace(house, probes=(*house.probes, second)))
    night.told["t3-low"] = 10.0
    night.run(15)
    assert touch(night, "t3-mid", "out-of-service") is NOTHING
    night.log("t3-low", "out-of-service", by="cho")
    night.run(5)
    assert touch(night, "t3-mid", "out-of-service") is Touch.LAST_PROBE
    assert touch(night, "m1-mid", "out-of-service") is NOTHING, "no batch runs there"
    assert touch(night, "s-air", "out-of-service") is NOTHING


def test_a_probe_that_tells_nothing_may_go() -> None:
    night = mashing()
    assert touch(night, "t3-mid", "out-of-service") is NOTHING, "it has never spoken"


def test_the_brewers_duty_is_not_exchanged_by_others_alone() -> None:
    """In that role or in all; the crew's own duties are their own affair."""
    night = mashing()
    brewers = {"from": "aki", "to": "dai", "day": "2026-02-02"}
    assert touch(night, "watch", "duty-swap", **brewers) is Touch.BREWERS_DUTY
    assert touch(night, "watch", "duty-swap", **brewers, role="brewer") is Touch.BREWERS_DUTY
    assert touch(night, "watch", "duty-swap", **brewers, role="crew") is NOTHING
    crew = {"from": "ken", "to": "dai", "day": "2026-02-02"}
    assert touch(night, "watch", "duty-swap", **crew) is NOTHING


# ------------------------------------------------------------------------------------- corrections


def correction(night: Night, of: str, subject: str = "tank-3") -> tuple[Touch, Touch]:
    """Of a take-back of an entry, and of an amendment that changes nothing of it."""
    back = touch(night, subject, "take-back", of=of)
    return back, touch(night, subject, "amend", of=of)


def test_whatever_brought_a_batch_to_its_place_is_corrected_by_two() -> None:
    night = mashing()
    assert correction(night, "e1") == (Touch.UNDOES_START,) * 2
    night.log("tank-3", "batch-end", by="aki")
    moved = night.log("tank-4", "move", to="tank-3", by="aki")
    assert correction(night, moved, "tank-4") == (Touch.UNDOES_START,) * 2


def test_what_brings_a_tank_back_into_the_watch_waits_for_nobody() -> None:
    """While it waited, the tank would stand unwatched."""
    night = mashing()
    ended = night.log("tank-3", "batch-end", by="aki")
    out = night.log("tank-4", "out-of-service", by="aki")
    assert touch(night, "tank-3", "take-back", of=ended) is NOTHING
    assert touch(night, "tank-4", "take-back", of=out) is NOTHING


def test_a_correction_of_a_correction_is_judged_by_what_comes_of_it() -> None:
    """To take back the take-back of an out-of-service is to put it out again."""
    night = mashing()
    out = night.log("tank-4", "out-of-service", by="aki")
    back = night.log("tank-4", "take-back", of=out, by="aki")
    assert touch(night, "tank-4", "take-back", of=back) is Touch.OUT_OF_SERVICE
    ended = night.log("tank-3", "batch-end", by="aki")
    undone = night.log("tank-3", "take-back", of=ended, by="aki")
    assert touch(night, "tank-3", "take-back", of=undone) is Touch.ENDS_EARLY


def test_to_take_back_an_in_service_is_to_put_it_out() -> None:
    night = mashing()
    night.log("tank-3", "out-of-service", by="aki")
    back = night.log("tank-3", "in-service", by="aki")
    assert touch(night, "tank-3", "take-back", of=back) is Touch.OUT_OF_SERVICE


def test_the_newest_stage_is_put_right_by_whoever_sees_the_slip() -> None:
    night = mashing()
    first = night.log("tank-4", "stage", stage="last", by="aki")
    assert correction(night, first, "tank-4") == (NOTHING, NOTHING)
    naka = night.log("moto-1", "batch-start", batch="15", course="moto")
    assert touch(night, "moto-1", "take-back", of=naka) is Touch.UNDOES_START


def test_an_older_stage_is_put_right_by_two() -> None:
    night = Night()
    night.log("tank-3", "batch-start", batch="7", course="mash")
    older = night.log("tank-3", "stage", stage="tome")
    night.run(10)
    newer = night.log("tank-3", "stage", stage="main")
    assert correction(night, older) == (Touch.STAGE_OUT_OF_TURN,) * 2
    assert correction(night, newer) == (NOTHING, NOTHING)


def test_an_amended_entry_is_judged_as_it_then_says() -> None:
    night = mashing().run(15)
    run = night.log("tank-3", "let-run", for_="1h", more=0.5, by="aki")
    assert touch(night, "tank-3", "amend", of=run, more=0.9) is NOTHING
    assert touch(night, "tank-3", "amend", of=run, more=5.0) is Touch.LETS_RUN_FAR
    aim = night.log("tank-3", "aim", celsius=11.0, by=night.now + HOUR, who="aki")
    assert touch(night, "tank-3", "amend", of=aim, celsius=50.0) is Touch.PLANS_FAR
    assert touch(night, "tank-3", "take-back", of=aim) is NOTHING, "it goes back to the course"


def test_a_swap_of_the_brewers_duty_is_undone_by_two() -> None:
    night = mashing()
    fields = {"from": "aki", "to": "dai", "day": "2026-02-02"}
    swap = night.log("watch", "duty-swap", who="aki", **fields)
    assert touch(night, "watch", "take-back", of=swap) is Touch.BREWERS_DUTY


def test_a_correction_that_will_be_refused_touches_nothing() -> None:
    """Nobody is asked about what cannot be."""
    night = mashing()
    assert correction(night, "none-such") == (NOTHING, NOTHING)
    back = night.log("tank-3", "take-back", of="e1", by="aki")
    assert touch(night, "tank-3", "amend", of=back) is NOTHING
    assert touch(night, "tank-3", "take-back", of="e1") is NOTHING, "it is taken back already"


def test_a_stage_of_a_batch_that_is_over_is_nobodys_risk() -> None:
    night = Night()
    night.log("tank-3", "batch-start", batch="7", course="mash")
    older = night.log("tank-3", "stage", stage="tome")
    night.log("tank-3", "stage", stage="main")
    night.wake(night.now + MINUTE)
    night.log("tank-3", "batch-end", by="aki")
    night.wake(night.now + MINUTE)
    night.log("tank-3", "batch-start", batch="8", course="mash")
    assert correction(night, older) == (NOTHING, NOTHING)
