"""What each entry does to the books: batches, plans, masks, and what is refused."""

from __future__ import annotations

from typing import Any

import msgspec
import pytest

from kuraban.core.facts import Logged
from kuraban.core.intake.entry_parser import entry_from
from kuraban.core.plan.subject_state import Refused
from kuraban.core.site import House
from kuraban.core.units import DAY, MINUTE
from tests.core.house import DUSK
from tests.core.logged import HOUSE, OTHER, TANK, SubjectStates, at, planned, started

# -------------------------------------------------------------------------------------- the batches


def test_a_batch_begins_in_its_first_stage_or_in_the_one_named() -> None:
    subject_states = started()
    batch = subject_states.runs(TANK, 1)
    assert (batch.name, batch.plan.standing(at(1)).stage.id) == ("12", "main")
    subject_states.tell(
        0, OTHER, "batch-start", batch="13", course="mash", title="Ginjo", rice_kg=750
    )
    batch = subject_states.runs(OTHER, 1)
    assert batch.plan.standing(at(1)).stage.id == "naka"
    assert (batch.title, batch.rice_kg) == ("Ginjo", 750)


def test_a_batch_taken_over_in_the_middle_stands_where_it_stands() -> None:
    """Tome began two days ago: it is day three, and the plan counts from then."""
    subject_states = SubjectStates()
    since = at(0) - 2 * DAY
    subject_states.tell(
        0, TANK, "batch-start", batch="12", course="mash", stage="tome", since=since
    )
    batch = subject_states.runs(TANK, 1)
    assert batch.plan.day(at(1)) == 3 and batch.since == since
    assert batch.plan.elapsed(at(1)) == pytest.approx(2 * DAY + MINUTE)


def test_no_batch_begins_where_one_runs() -> None:
    subject_states = started()
    with pytest.raises(Refused, match="batch '12' runs in tank-3; log its batch-end first"):
        subject_states.tell(5, TANK, "batch-start", batch="13", course="mash")
    assert subject_states.runs(TANK, 6).name == "12"


def test_a_new_batch_may_follow_one_that_ended() -> None:
    subject_states = started()
    subject_states.tell(5, TANK, "batch-end")
    assert subject_states.batch(TANK, at(6)) is None
    subject_states.tell(10, TANK, "batch-start", batch="13", course="mash")
    assert subject_states.runs(TANK, 11).name == "13"


def test_a_new_batch_may_follow_one_whose_last_stage_ran_out() -> None:
    subject_states, since = SubjectStates(), at(0) - 4 * DAY
    subject_states.tell(
        0, TANK, "batch-start", batch="12", course="mash", stage="last", since=since
    )
    assert subject_states.batch(TANK, at(24 * 60 - 1)) is not None
    assert subject_states.batch(TANK, at(24 * 60)) is None
    subject_states.tell(24 * 60 + 5, TANK, "batch-start", batch="13", course="mash")


def test_mash_may_be_moved_to_where_the_last_stage_of_another_ran_out() -> None:
    subject_states, since = SubjectStates(), at(0) - 5 * DAY
    subject_states.tell(
        0, OTHER, "batch-start", batch="9", course="mash", stage="last", since=since
    )
    subject_states.tell(5, TANK, "batch-start", batch="12", course="mash")
    subject_states.tell(10, TANK, "move", to=OTHER)
    assert (
        subject_states.runs(OTHER, 11).name == "12" and subject_states.batch(TANK, at(11)) is None
    )


@pytest.mark.parametrize("entry", ["stage", "hold", "aim", "plan", "let-run", "batch-end", "move"])
def test_what_needs_a_batch_is_refused_where_none_runs(entry: str) -> None:
    fields: dict[str, dict[str, Any]] = {
        "stage": {"stage": "tome"}, "hold": {"for_": "1d"}, "aim": {"celsius": 9, "by": at(600)},
        "plan": {"points": [[at(600), 9.0]]}, "let-run": {"for_": "2h", "more": 0.5},
        "move": {"to": OTHER},
    }  # fmt: skip
    with pytest.raises(Refused, match=f"log its batch-start first, then this {entry}"):
        SubjectStates().tell(0, TANK, entry, **fields.get(entry, {}))


def test_a_stage_that_the_course_lacks_is_refused_with_those_that_it_has() -> None:
    with pytest.raises(Refused, match="no stage 'odori'; its stages are naka, tome, main, last"):
        started().tell(5, TANK, "stage", stage="odori")


def test_a_course_that_is_gone_is_refused_with_those_that_are_there() -> None:
    subject_states = SubjectStates()
    logged = Logged("e1", TANK, entry_from({"entry": "batch-start", "batch": "1", "course": "mash"},
                                           TANK, HOUSE, DUSK, "page").entry, DUSK, DUSK)  # type: ignore[union-attr] # fmt: skip
    subject_states.house = type(HOUSE)(site=HOUSE.site, places=HOUSE.places)
    with pytest.raises(Refused, match="no course 'mash'; known are none"):
        subject_states.add(logged)


def test_a_stage_begins_once() -> None:
    subject_states = started("naka")
    subject_states.tell(5, TANK, "stage", stage="tome")
    with pytest.raises(Refused, match="'tome' began at 2026-02-01T18:05:00"):
        subject_states.tell(9, TANK, "stage", stage="tome")


def test_a_stage_logged_late_began_when_it_says() -> None:
    subject_states = started("naka")
    subject_states.tell(90, TANK, "stage", stage="tome", since=at(30))
    assert subject_states.runs(TANK, 91).plan.elapsed(at(91)) == 61 * MINUTE


# ----------------------------------------------------------------------------------------- the plan


def test_an_aim_re_draws_the_plan_from_where_it_is() -> None:
    """Straight to 9.0 in ten hours, and the course goes on a degree lower."""
    subject_states = started()
    subject_states.tell(60, TANK, "aim", celsius=9.0, by=at(660))
    assert planned(subject_states, 60) == 10.0
    assert planned(subject_states, 360) == pytest.approx(9.5)
    assert planned(subject_states, 660) == planned(subject_states, 5000) == pytest.approx(9.0)
    assert subject_states.runs(TANK, 360).plan.first(at(360)) == 10.0, (
        "the faint line of the first plan"
    )


def test_an_aim_may_lead_back_onto_the_course_or_stay_level() -> None:
    for then, later in (("course", 10.0), ("level", 9.0)):
        subject_states = started()
        subject_states.tell(0, TANK, "aim", celsius=9.0, by=at(60), then=then)
        assert planned(subject_states, 61) == pytest.approx(later)


def test_a_plan_of_many_days_holds_from_now_on() -> None:
    subject_states = started()
    subject_states.tell(60, TANK, "plan", points=[[at(0), 1.0], [at(160), 9.0], [at(360), 11.0]])
    assert [planned(subject_states, m) for m in (60, 160, 260)] == pytest.approx([10.0, 9.0, 10.0])


def test_the_past_is_not_re_drawn() -> None:
    subject_states = started()
    aim = subject_states.tell(60, TANK, "aim", celsius=9.0, by=at(90))
    with pytest.raises(Refused, match="give a later time"):
        subject_states.tell(61, TANK, "amend", of=aim, fields={"by": at(30)})
    assert planned(subject_states, 90) == pytest.approx(9.0)


def test_a_second_rest_day_puts_off_what_is_due() -> None:
    subject_states = started("naka")
    due = subject_states.runs(TANK, 0).plan.standing(at(0)).span.due
    subject_states.tell(5, TANK, "hold", for_="1d")
    assert subject_states.runs(TANK, 6).plan.standing(at(6)).span.due == due + DAY
    subject_states.tell(7, TANK, "hold", for_="2d")
    assert subject_states.runs(TANK, 8).plan.standing(at(8)).span.due == due + 2 * DAY, (
        "whole, not more"
    )
    subject_states.tell(9, TANK, "hold", for_="0s")
    assert subject_states.runs(TANK, 10).plan.standing(at(10)).span.due == due


def test_a_rest_day_leaves_the_brewers_plan_alone() -> None:
    """In a stage that began by the clock, too: holding it longer is no new addition."""
    subject_states = SubjectStates()
    house = with_clocked_stage()
    subject_states.house = house
    subject_states.tell(0, TANK, "batch-start", batch="12", course="mash", stage="tome")
    subject_states.tell(60, TANK, "aim", celsius=9.0, by=at(120))
    late = 2 * 24 * 60 + 60
    assert planned(subject_states, late) == pytest.approx(9.0)
    subject_states.tell(late, TANK, "hold", for_="1d")
    assert planned(subject_states, late + 1) == pytest.approx(9.0)


def with_clocked_stage() -> House:
    mash = HOUSE.course["mash"]
    stages = tuple(
        msgspec.structs.replace(stage, ends="clock") if stage.id == "tome" else stage
        for stage in mash.stages
    )
    return msgspec.structs.replace(HOUSE, courses=(msgspec.structs.replace(mash, stages=stages),))


def test_let_run_judges_against_the_value_of_its_moment_until_its_end() -> None:
    subject_states = started()
    logged = entry_from({"entry": "let-run", "for": "2h", "more": 0.4}, TANK, HOUSE, at(30), "page")
    assert isinstance(logged, Logged)
    subject_states.add(type(logged)(**{n: getattr(logged, n) for n in logged.__struct_fields__
                              if n != "seen"}, seen=10.7))  # fmt: skip
    run = subject_states.subject_state(TANK).let_run
    assert run is not None and (run.start, run.until) == (at(30), at(150))
    assert (run.base, run.more) == (10.7, 0.4)


def test_let_run_without_a_value_is_about_the_plan() -> None:
    subject_states = started()
    subject_states.tell(30, TANK, "let-run", for_="2h", more=0.4)
    run = subject_states.subject_state(TANK).let_run
    assert run is not None and run.base == 10.0


@pytest.mark.parametrize("entry", ["stage", "batch-end"])
def test_a_new_stage_ends_a_let_run(entry: str) -> None:
    subject_states = started()
    subject_states.tell(30, TANK, "let-run", for_="2h", more=0.4)
    subject_states.tell(40, TANK, entry, **({"stage": "last"} if entry == "stage" else {}))
    assert subject_states.subject_state(TANK).let_run is None


# ------------------------------------------------------------------------------ from place to place


def test_moved_mash_takes_its_day_its_marks_and_its_plan_along() -> None:
    subject_states = SubjectStates()
    since = at(0) - 5 * DAY
    subject_states.tell(
        0, TANK, "batch-start", batch="12", course="mash", stage="tome", since=since
    )
    subject_states.tell(1, TANK, "stage", stage="main")
    subject_states.tell(2, TANK, "aim", celsius=9.0, by=at(60))
    before = subject_states.runs(TANK, 5)
    subject_states.tell(10, TANK, "move", to=OTHER)
    after = subject_states.runs(OTHER, 11)
    assert subject_states.batch(TANK, at(11)) is None
    assert after.plan.day(at(11)) == before.plan.day(at(11)) == 6
    assert (after.marks, after.since, after.name) == (before.marks, since, "12")
    assert after.plan.at(at(100)) == before.plan.at(at(100)) == pytest.approx(9.0)


def test_split_koji_goes_on_in_each_place_by_itself() -> None:
    subject_states = SubjectStates()
    subject_states.tell(0, "bed-1", "batch-start", batch="K-7", course="koji")
    subject_states.tell(60, "bed-1", "split", to=["bed-1", "bed-2"])
    subject_states.tell(90, "bed-2", "stage", stage="naka-shigoto")
    stages = [
        subject_states.runs(bed, 91).plan.standing(at(91)).stage.id for bed in ("bed-1", "bed-2")
    ]
    assert stages == ["hikikomi", "naka-shigoto"]


def test_koji_split_into_others_leaves_its_bed_empty() -> None:
    subject_states = SubjectStates()
    subject_states.tell(0, "bed-1", "batch-start", batch="K-7", course="koji")
    subject_states.tell(60, "bed-1", "split", to=["bed-2"])
    assert (
        subject_states.batch("bed-1", at(61)) is None
        and subject_states.runs("bed-2", 61).name == "K-7"
    )


def test_merged_mash_becomes_part_of_the_batch_that_is_there() -> None:
    subject_states = started()
    subject_states.tell(0, OTHER, "batch-start", batch="13", course="mash")
    subject_states.tell(10, TANK, "merge", into=OTHER)
    assert (
        subject_states.batch(TANK, at(11)) is None and subject_states.runs(OTHER, 11).name == "13"
    )


def test_mash_merged_into_an_empty_tank_is_moved() -> None:
    subject_states = started()
    subject_states.tell(10, TANK, "merge", into=OTHER)
    assert subject_states.runs(OTHER, 11).name == "12"


@pytest.mark.parametrize("entry", ["move", "split"])
def test_nothing_is_moved_onto_a_running_batch(entry: str) -> None:
    subject_states = started()
    subject_states.tell(0, OTHER, "batch-start", batch="13", course="mash")
    fields: dict[str, Any] = {"to": OTHER} if entry == "move" else {"to": [OTHER]}
    with pytest.raises(Refused, match="batch '13' runs in tank-4 already; merge into it instead"):
        subject_states.tell(10, TANK, entry, **fields)
    assert subject_states.runs(TANK, 11).name == "12"


def test_out_of_service_until_put_back() -> None:
    subject_states = SubjectStates()
    subject_states.tell(5, TANK, "out-of-service", reason="washing")
    assert subject_states.subject_state(TANK).out_of_service == at(5)
    subject_states.tell(9, TANK, "in-service")
    assert subject_states.subject_state(TANK).out_of_service is None


# ---------------------------------------------------------------------------------------- the masks


@pytest.mark.parametrize(
    ("entry", "fields", "minutes"),
    [
        ("stir", {}, 30),
        ("stir", {"for_": "10m"}, 30),
        ("stir", {"for_": "45m"}, 65),
        ("addition", {"what": "rice"}, 90),
        ("addition", {"what": "water-koji"}, 180),
        ("addition", {"what": "late-water"}, 30),
        ("addition", {"what": "ice"}, 30),
        ("addition", {"what": "alcohol"}, 30),
        ("cask-in", {}, 360),
        ("cask-in", {"for_": "3h"}, 240),
        ("cask-in", {"for_": "9h"}, 360),
        ("handwork", {}, 45),
        ("handwork", {"for_": "1h"}, 75),
    ],
)
def test_every_mask_ends_by_itself(entry: str, fields: dict[str, Any], minutes: float) -> None:
    # lengths of masks: common practice
    subject_states = started()
    subject_states.tell(10, TANK, entry, **fields)
    assert subject_states.masked_until(9.9) is None
    assert (
        subject_states.masked_until(10)
        == subject_states.masked_until(10 + minutes - 0.1)
        == 10 + minutes
    )
    assert subject_states.masked_until(10 + minutes) is None


def test_steeped_water_and_koji_wait_for_their_rice() -> None:
    """From the rice on it is the rice's hour and a half."""
    subject_states = started("naka")
    subject_states.tell(0, TANK, "addition", what="water-koji")
    subject_states.tell(60, TANK, "addition", what="rice")
    assert subject_states.masked_until(59) == 150 and subject_states.masked_until(149) == 150
    assert subject_states.masked_until(150) is None


def test_a_stage_mark_ends_the_wait_for_the_rice() -> None:
    subject_states = started("naka")
    subject_states.tell(0, TANK, "addition", what="water-koji")
    subject_states.tell(60, TANK, "stage", stage="tome")
    assert subject_states.masked_until(59) == 60 and subject_states.masked_until(60) is None


def test_a_stage_settles_from_its_last_rice() -> None:
    subject_states = started("naka")
    subject_states.tell(60, TANK, "stage", stage="tome")
    batch = subject_states.runs(TANK, 61)
    assert batch.settled_at(batch.plan.standing(at(61))) == at(60 + 180)
    subject_states.tell(90, TANK, "addition", what="rice")
    batch = subject_states.runs(TANK, 91)
    assert batch.settled_at(batch.plan.standing(at(91))) == at(90 + 180)


def test_a_stage_logged_after_its_rice_settles_from_the_rice() -> None:
    """The mark comes late and says since when; the rice lay between."""
    subject_states = started("naka")
    subject_states.tell(70, TANK, "addition", what="rice")
    subject_states.tell(90, TANK, "stage", stage="tome", since=at(60))
    batch = subject_states.runs(TANK, 91)
    assert batch.settled_at(batch.plan.standing(at(91))) == at(70 + 180)


def test_the_rice_of_the_last_stage_settles_nothing_in_the_next() -> None:
    subject_states = started("naka")
    subject_states.tell(30, TANK, "addition", what="rice")
    subject_states.tell(60, TANK, "stage", stage="tome")
    batch = subject_states.runs(TANK, 61)
    assert batch.settled_at(batch.plan.standing(at(61))) == at(60 + 180)


def test_a_cask_masks_until_an_hour_after_it_is_out() -> None:
    subject_states = SubjectStates()
    subject_states.tell(0, "moto-1", "batch-start", batch="15", course="moto")
    subject_states.tell(10, "moto-1", "cask-in", what="warm")
    assert subject_states.masked_until(100, "moto-1") == 370
    subject_states.tell(130, "moto-1", "cask-out")
    assert (
        subject_states.masked_until(129, "moto-1") == 190
        and subject_states.masked_until(190, "moto-1") is None
    )


def test_a_cask_masks_at_most_six_hours() -> None:
    subject_states = SubjectStates()
    subject_states.tell(0, "moto-1", "cask-in")
    subject_states.tell(330, "moto-1", "cask-out")
    assert subject_states.masked_until(329, "moto-1") == 360


def test_a_probe_is_out_until_it_is_in() -> None:
    subject_states = started()
    subject_states.tell(5, "t3-mid", "probe-out", by="ken")
    assert subject_states.subject_state(TANK).hands == [(at(5), "ken")], "work at its tank"
    assert subject_states.subject_state("t3-mid").probe_out == at(5)
    subject_states.tell(9, "t3-mid", "probe-in")
    assert subject_states.subject_state("t3-mid").probe_out is None
    subject_states.tell(20, TANK, "probe-out")
    assert subject_states.subject_state("t3-mid").probe_out == at(20), (
        "a place speaks for all its product probes"
    )
    assert subject_states.subject_state("t4-mid").probe_out is None


def test_a_hand_thermometer_is_remembered() -> None:
    subject_states = started()
    subject_states.tell(5, TANK, "check", celsius=10.4)
    assert subject_states.subject_state(TANK).check == (at(5), 10.4)
