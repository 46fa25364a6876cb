"""Entries that come late, are taken back or amended, and what may be forgotten."""

from __future__ import annotations

from datetime import date
from typing import Any

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kuraban.core.entries import Stir
from kuraban.core.facts import Logged
from kuraban.core.intake.entry_parser import entry_from
from kuraban.core.plan.subject_state import Refused
from kuraban.core.units import HOUR, MINUTE
from tests.core.logged import HOUSE, OTHER, TANK, SubjectStates, at, planned, started

# ------------------------------------------------------------------------------ late, and put right


def test_a_stir_logged_late_counts_from_when_it_was() -> None:
    subject_states = started()
    subject_states.tell(60, TANK, "addition", what="ice")
    subject_states.tell(40, TANK, "stir")
    assert subject_states.masked_until(45) == 90, "the stir's stretch joins the ice's"
    assert subject_states.subject_state(TANK).last_stir == at(40)


def test_a_late_entry_that_does_not_fit_its_time_changes_nothing() -> None:
    subject_states = SubjectStates()
    subject_states.tell(60, TANK, "batch-start", batch="12", course="mash")
    subject_states.tell(70, TANK, "stir")
    with pytest.raises(Refused, match="no batch runs in tank-3"):
        subject_states.tell(30, TANK, "hold", for_="1d")
    assert subject_states.runs(TANK, 71).name == "12" and subject_states.masked_until(71) == 100


actions = st.lists(
    st.tuples(
        st.integers(1, 300),
        st.sampled_from(
            [("stir", {}), ("addition", {"what": "rice"}), ("addition", {"what": "water-koji"}),
             ("stage", {"stage": "tome"}), ("hold", {"for_": "1d"}), ("handwork", {}),
             ("aim", {"celsius": 9.5, "by": at(900)}), ("cask-in", {}), ("cask-out", {}),
             ("check", {"celsius": 10.1}), ("out-of-service", {}), ("in-service", {})]
        ),
    ),
    max_size=12,
    unique_by=(lambda one: one[0], lambda one: one[1][0]),
)  # fmt: skip


@given(actions, st.randoms(use_true_random=False))
def test_people_log_late_and_the_books_are_the_same(
    told: list[tuple[int, tuple[str, dict[str, Any]]]], lots: Any
) -> None:
    """In whatever order entries arrive, the books say what they would had all come in time."""
    in_time, late = started("naka"), started("naka")
    for minute, (entry, fields) in sorted(told, key=lambda one: one[0]):
        in_time.tell(minute, TANK, entry, id=f"m{minute}", **fields)
    lots.shuffle(told)
    for minute, (entry, fields) in told:
        late.tell(minute, TANK, entry, id=f"m{minute}", **fields)
    assert _told(in_time) == _told(late)


def _told(subject_states: SubjectStates) -> object:
    subject_state, batch = subject_states.subject_state(TANK), subject_states.runs(TANK, 301)
    plan = [round(batch.plan.at(at(minute)), 9) for minute in range(0, 1000, 50)]
    return (
        sorted(subject_state.masks),
        subject_state.last_stir,
        subject_state.check,
        subject_state.out_of_service,
        subject_state.last_work,
        batch.marks,
        batch.rice_in,
        batch.redraws,
        plan,
    )


def test_an_entry_taken_back_never_was() -> None:
    subject_states = started()
    stir = subject_states.tell(10, TANK, "stir", by="dai")
    subject_states.tell(12, TANK, "take-back", of=stir, reason="wrong tank")
    assert subject_states.masked_until(15) is None
    assert (
        subject_states.subject_state(TANK).last_stir,
        subject_states.subject_state(TANK).hands,
    ) == (None, [])
    assert subject_states.find(stir) is not None, "the old entry stays"


def test_a_take_back_taken_back_lets_it_count_again() -> None:
    """And so on: what was taken back three times is taken back."""
    subject_states = started()
    entry = subject_states.tell(10, TANK, "stir")
    for number in range(1, 5):
        entry = subject_states.tell(10 + number, TANK, "take-back", of=entry)
        assert (subject_states.masked_until(15) is None) == (number % 2 == 1)


def test_a_batch_started_by_mistake_is_taken_back_with_all_that_hung_on_it() -> None:
    subject_states = SubjectStates()
    start = subject_states.tell(0, TANK, "batch-start", batch="12", course="mash")
    subject_states.tell(5, TANK, "stage", stage="tome")
    subject_states.tell(9, TANK, "take-back", of=start)
    assert subject_states.batch(TANK, at(10)) is None
    subject_states.tell(11, TANK, "batch-start", batch="13", course="mash")


def test_a_batch_end_taken_back_lets_the_batch_run_on() -> None:
    subject_states = started("naka")
    subject_states.tell(5, TANK, "stage", stage="tome")
    end = subject_states.tell(60, TANK, "batch-end")
    subject_states.tell(61, TANK, "take-back", of=end)
    assert subject_states.runs(TANK, 62).plan.standing(at(62)).stage.id == "tome"


def test_a_batch_end_is_not_taken_back_from_under_the_next_batch() -> None:
    """The batch would run on, and the next one's start would no longer fit; the crew is told."""
    subject_states = started()
    end = subject_states.tell(60, TANK, "batch-end")
    start = subject_states.tell(70, TANK, "batch-start", batch="13", course="mash")
    with pytest.raises(Refused, match=rf"entry '{start}'.* would no longer fit; correct that"):
        subject_states.tell(80, TANK, "take-back", of=end)
    assert subject_states.runs(TANK, 81).name == "13"
    subject_states.tell(82, TANK, "take-back", of=start)
    subject_states.tell(83, TANK, "take-back", of=end)
    assert subject_states.runs(TANK, 84).name == "12"


def test_a_batch_that_is_logged_late_pushes_no_running_one_out() -> None:
    """It is asked about: the batch that runs, and is judged, must not vanish by a slip."""
    subject_states = SubjectStates()
    subject_states.tell(60, TANK, "batch-start", batch="12", course="mash", stage="main")
    with pytest.raises(Refused, match=r"the batch-start of tank-3 .*would no longer fit"):
        subject_states.tell(10, TANK, "batch-start", batch="11", course="mash")
    assert subject_states.runs(TANK, 70).name == "12"
    subject_states.tell(10, OTHER, "batch-start", batch="11", course="mash")
    with pytest.raises(Refused, match="correct that entry first"):
        subject_states.tell(20, OTHER, "move", to=TANK)
    assert (subject_states.runs(TANK, 70).name, subject_states.runs(OTHER, 70).name) == ("12", "11")


def test_an_aim_can_be_given_another_time_of_arrival() -> None:
    """Its `by` is the time, flat as an amendment's other members are; who did it is `who`."""
    subject_states = started()
    aim = subject_states.tell(0, TANK, "aim", celsius=9.0, by=at(600))
    subject_states.tell(1, TANK, "amend", of=aim, by=at(300), who="aki")
    assert planned(subject_states, 300) == pytest.approx(9.0)
    assert subject_states.log[-1].by == "aki"


def test_an_amendment_changes_what_it_names_and_leaves_the_rest() -> None:
    subject_states = started("naka")
    mark = subject_states.tell(60, TANK, "stage", stage="tome", since=at(50))
    subject_states.tell(90, TANK, "amend", of=mark, since=at(40))
    assert subject_states.runs(TANK, 91).plan.standing(at(91)).span.start == at(40)
    aim = subject_states.tell(95, TANK, "aim", celsius=9.0, by=at(695))
    subject_states.tell(96, TANK, "amend", of=aim, celsius=11.0)
    assert planned(subject_states, 395) == pytest.approx(10.5)
    stir = subject_states.tell(100, TANK, "stir", for_="10m")
    subject_states.tell(101, TANK, "amend", of=stir, **{"for": "40m"})
    assert subject_states.masked_until(110) == 160


def test_an_amendment_of_an_amended_entry_builds_on_it() -> None:
    subject_states = started()
    aim = subject_states.tell(0, TANK, "aim", celsius=9.0, by=at(600))
    subject_states.tell(1, TANK, "amend", of=aim, celsius=8.0)
    subject_states.tell(2, TANK, "amend", of=aim, then="course")
    assert (
        planned(subject_states, 300) == pytest.approx(9.0) and planned(subject_states, 601) == 10.0
    )


def test_an_amendment_taken_back_leaves_the_entry_as_it_was() -> None:
    subject_states = started()
    stir = subject_states.tell(10, TANK, "stir")
    wrong = subject_states.tell(11, TANK, "amend", of=stir, **{"for": "3h"})
    assert subject_states.masked_until(15) == 210
    subject_states.tell(12, TANK, "take-back", of=wrong)
    assert subject_states.masked_until(15) == 40


def test_a_wrong_amendment_is_refused_and_changes_nothing() -> None:
    subject_states = started("naka")
    mark = subject_states.tell(60, TANK, "stage", stage="tome")
    with pytest.raises(Refused, match="the amended stage would be wrong"):
        subject_states.tell(61, TANK, "amend", of=mark, since="yesterday")
    with pytest.raises(Refused, match="no stage 'odori'"):
        subject_states.tell(62, TANK, "amend", of=mark, stage="odori")
    assert subject_states.runs(TANK, 63).plan.standing(at(63)).span.start == at(60)


@pytest.mark.parametrize("entry", ["take-back", "amend"])
def test_a_correction_of_nothing_is_refused(entry: str) -> None:
    with pytest.raises(Refused, match="no entry 'e99' is known; name the id"):
        started().tell(5, TANK, entry, of="e99")


def test_two_buttons_that_count_alike_are_two_buttons() -> None:
    """The wall buttons of two tanks both began at 1; taking back one leaves the other."""
    subject_states = started()
    subject_states.tell(10, TANK, "stir", id="1")
    subject_states.tell(10, OTHER, "stir", id="1")
    subject_states.tell(11, TANK, "take-back", of="1")
    assert subject_states.masked_until(15, TANK) is None
    assert subject_states.masked_until(15, OTHER) == 40


def test_two_batches_whose_buttons_count_alike_keep_their_own_courses() -> None:
    subject_states = SubjectStates()
    subject_states.tell(0, TANK, "batch-start", id="1", batch="12", course="mash")
    subject_states.tell(0, "moto-1", "batch-start", id="1", batch="15", course="moto")
    assert subject_states.runs("moto-1", 1).course.id == "moto"
    subject_states.refold()
    assert [subject_states.runs(place, 1).course.id for place in (TANK, "moto-1")] == [
        "mash",
        "moto",
    ]


def test_a_running_batch_keeps_its_course_as_it_was_read_then() -> None:
    subject_states = started()
    mash = HOUSE.course["mash"]
    stages = tuple(msgspec.structs.replace(stage, points=((0.0, 5.0),)) for stage in mash.stages)
    courses = (msgspec.structs.replace(mash, stages=stages),)
    subject_states.house = msgspec.structs.replace(HOUSE, courses=courses)
    subject_states.refold()
    assert planned(subject_states, 5) == 10.0
    subject_states.tell(5, OTHER, "batch-start", batch="13", course="mash")
    assert planned(subject_states, 6, OTHER) == 5.0


def test_a_sample_changes_no_book_and_can_be_corrected() -> None:
    subject_states = started()
    sample = subject_states.tell(10, TANK, "sample", baume=7.5)
    subject_states.tell(11, TANK, "amend", of=sample, baume=6.5)
    subject_states.tell(12, TANK, "take-back", of=sample)
    assert subject_states.runs(TANK, 13).name == "12"


def test_what_is_taken_back_twice_is_refused_with_the_way_out() -> None:
    """Else nobody could say which of the two must be taken back for it to count again."""
    subject_states = started()
    stir = subject_states.tell(10, TANK, "stir")
    back = subject_states.tell(11, TANK, "take-back", of=stir)
    with pytest.raises(Refused, match=f"is taken back already, by entry '{back}'; take that one"):
        subject_states.tell(12, TANK, "take-back", of=stir)
    subject_states.tell(13, TANK, "take-back", of=back)
    assert subject_states.masked_until(15) == 40
    subject_states.tell(14, TANK, "take-back", of=stir)
    assert subject_states.masked_until(15) is None


def test_a_correction_is_not_amended() -> None:
    subject_states = started()
    stir = subject_states.tell(10, TANK, "stir")
    back = subject_states.tell(11, TANK, "take-back", of=stir)
    with pytest.raises(Refused, match="is a correction; take it back"):
        subject_states.tell(12, TANK, "amend", of=back, reason="wrong tank")
    assert subject_states.masked_until(15) is None


def test_an_amendment_meets_the_door_as_an_entry_does() -> None:
    """Nobody lets it run for two days by way of a correction."""
    subject_states = started()
    run = subject_states.tell(10, TANK, "let-run", for_="2h", more=0.3)
    with pytest.raises(Refused, match=r"the amended let-run would be wrong: .* at most 12h"):
        subject_states.tell(11, TANK, "amend", of=run, **{"for": "48h"})
    let_run = subject_states.of(TANK).let_run
    assert let_run is not None and let_run.until == at(130)


def test_a_batch_whose_course_was_mistyped_is_given_the_right_one() -> None:
    """And keeps its own as long as the amendment is about something else."""
    subject_states = SubjectStates()
    start = subject_states.tell(0, "moto-1", "batch-start", batch="15", course="moto")
    other = msgspec.structs.replace(HOUSE.course["moto"], id="fast")
    courses = (*(one for one in HOUSE.courses if one.id != "moto"), other)
    subject_states.house = msgspec.structs.replace(HOUSE, courses=courses)
    subject_states.tell(1, "moto-1", "amend", of=start, title="first")
    assert subject_states.runs("moto-1", 2).course.id == "moto"
    subject_states.tell(3, "moto-1", "amend", of=start, course="fast")
    assert subject_states.runs("moto-1", 4).course.id == "fast"


def test_a_late_take_back_takes_effect_like_any_other() -> None:
    """Its own time says only when somebody saw the slip."""
    subject_states = started()
    stir = subject_states.tell(30, TANK, "stir")
    subject_states.tell(20, TANK, "take-back", of=stir)
    assert subject_states.masked_until(35) is None


# ------------------------------------------------------------------------------- what is told of it


def changes(subject_states: SubjectStates) -> list[tuple[str, str]]:
    return [(logged.id, stands.fate) for logged, stands in subject_states.changes()]


def test_each_change_is_told_once() -> None:
    subject_states = started()
    stir = subject_states.tell(10, TANK, "stir")
    assert changes(subject_states) == [("e1", "counted"), (stir, "counted")]
    assert changes(subject_states) == []
    note = subject_states.tell(11, TANK, "note", text="frost")
    back = subject_states.tell(12, TANK, "take-back", of=stir)
    assert changes(subject_states) == [(stir, "taken-back"), (note, "counted"), (back, "counted")]


def test_what_was_refused_left_no_change() -> None:
    subject_states = started()
    changes(subject_states)
    with pytest.raises(Refused):
        subject_states.tell(5, TANK, "batch-start", batch="13", course="mash")
    with pytest.raises(Refused):
        subject_states.tell(-5, TANK, "hold", for_="1d")
    with pytest.raises(Refused):
        subject_states.tell(6, TANK, "take-back", of="e99")
    assert changes(subject_states) == [] and len(subject_states.log) == 1


def test_what_became_of_an_entry_by_the_correction_of_another_is_told() -> None:
    """A stir that lasted longer; a hold of a batch that was never begun, with the reason."""
    subject_states = started()
    stir = subject_states.tell(10, TANK, "stir")
    hold = subject_states.tell(11, TANK, "hold", for_="1d")
    changes(subject_states)
    amend = subject_states.tell(12, TANK, "amend", of=stir, **{"for": "40m"})
    ((_, longer), _) = subject_states.changes()
    assert longer.fate == "amended" and longer.cause is not None and longer.cause.id == amend
    assert isinstance(longer.entry, Stir) and longer.entry.for_ == 40 * MINUTE
    subject_states.tell(13, TANK, "take-back", of="e1")
    found = {logged.id: stands for logged, stands in subject_states.changes()}
    assert found["e1"].fate == "taken-back" and found[hold].fate == "refused"
    assert found[hold].reason.startswith("no batch runs in tank-3")


def test_who_confirmed_an_entry_is_told_with_it() -> None:
    """Also after it was taken back and counts again."""
    subject_states = started()
    changes(subject_states)
    end, yes = (
        entry_from(fields, TANK, HOUSE, at(20), "page")
        for fields in (
            {"id": "end", "entry": "batch-end", "at": at(10)},
            {"id": "yes", "entry": "confirm", "of": "end", "at": at(20)},
        )
    )
    assert isinstance(end, Logged) and isinstance(yes, Logged)
    subject_states.add(end, yes)
    ((_, stands),) = subject_states.changes()
    assert (stands.fate, stands.cause) == ("confirmed", yes)
    back = subject_states.tell(30, TANK, "take-back", of="end")
    assert ("end", "taken-back") in changes(subject_states)
    subject_states.tell(31, TANK, "take-back", of=back)
    assert ("end", "confirmed") in changes(subject_states)


def test_a_correction_can_be_foreseen() -> None:
    """At what it aims in the end, and what would count by then; the log is left as it is."""
    subject_states = started()
    run = subject_states.tell(10, TANK, "let-run", for_="2h", more=0.3)
    back = subject_states.tell(11, TANK, "take-back", of=run)

    def foreseen(**fields: Any) -> tuple[str, Any] | None:
        logged = entry_from({"id": "new", **fields}, TANK, HOUSE, at(20), "page")
        assert isinstance(logged, Logged)
        found = subject_states.foresee(logged)
        if found is None:
            return None
        return found[0].id, None if found[1] is None else getattr(found[1].entry, "more", None)

    assert foreseen(entry="take-back", of=back) == (run, 0.3)
    assert foreseen(entry="take-back", of="e1") == ("e1", None)
    assert foreseen(entry="take-back", of=run) is None, "it is taken back already"
    assert foreseen(entry="take-back", of="e99") is None
    assert foreseen(entry="amend", of=run, more="much") is None
    subject_states.tell(12, TANK, "take-back", of=back)
    assert foreseen(entry="amend", of=run, more=0.5) == (run, 0.5)
    assert [one.id for one in subject_states.log] == ["e1", run, back, "e4"]


# --------------------------------------------------------------------------------------- forgetting


def test_old_entries_are_forgotten_but_not_those_of_what_runs() -> None:
    subject_states = started()
    subject_states.tell(1, OTHER, "stir")
    subject_states.tell(2, OTHER, "served-by", cooler="chiller-2")
    subject_states.tell(3, "store", "out-of-service")
    subject_states.prune(at(10_000))
    assert subject_states.runs(TANK, 5).name == "12" and subject_states.subject_state(
        OTHER
    ).last_stir == at(1)
    subject_states.tell(20, TANK, "batch-end")
    subject_states.prune(at(10_000))
    subject_states.refold()
    assert subject_states.batch(TANK, at(21)) is None
    assert subject_states.cooler_of(OTHER) == "chiller-2"
    assert subject_states.subject_state("store").out_of_service == at(3)


def test_forgetting_changes_nothing_of_a_moved_batch() -> None:
    subject_states = started()
    subject_states.tell(10, TANK, "move", to=OTHER)
    before = subject_states.runs(OTHER, 11).marks
    subject_states.prune(at(10_000))
    subject_states.refold()
    assert subject_states.runs(OTHER, 11).marks == before


def test_a_house_read_anew_lays_the_same_plans() -> None:
    subject_states = started()
    subject_states.tell(2, TANK, "aim", celsius=9.0, by=at(60 * HOUR / MINUTE))
    before = [planned(subject_states, minute) for minute in range(3, 600, 60)]
    subject_states.refold()
    assert [planned(subject_states, minute) for minute in range(3, 600, 60)] == before


def test_what_was_logged_about_a_tank_is_told_as_it_counts_now() -> None:
    """Amended entries amended, taken back ones gone, the others' left out, old ones forgotten."""
    subject_states = started()
    stir = subject_states.tell(1, TANK, "stir")
    subject_states.tell(2, OTHER, "stir")
    poured = subject_states.tell(3, TANK, "addition", what="water", litres=50)
    assert [logged.id for logged in subject_states.about(TANK)][-2:] == [stir, poured]
    subject_states.tell(4, TANK, "amend", of=poured, fields={"litres": 60})
    subject_states.tell(5, TANK, "take-back", of=stir, reason="wrong tank")
    told = {logged.id: logged for logged in subject_states.about(TANK)}
    assert stir not in told and told[poured].entry.litres == 60  # type: ignore[union-attr]
    assert [logged.subject for logged in subject_states.about(OTHER)] == [OTHER]
    late = subject_states.tell(2, TANK, "acknowledge")
    assert [logged.id for logged in subject_states.about(TANK)][-4:-2] == [late, poured]
    assert not subject_states.about("store")
    subject_states.tell(20, TANK, "batch-end")
    subject_states.prune(at(10_000))
    assert not subject_states.about(OTHER)


def test_with_an_entry_its_corrections_are_forgotten_and_never_before_it() -> None:
    """One that is kept stays taken back, though who took it back wrote an earlier time."""
    subject_states = started()
    old = subject_states.tell(-20, OTHER, "stir")
    subject_states.tell(3, OTHER, "take-back", of=old)
    kept = subject_states.tell(10, TANK, "stir")
    subject_states.tell(-30, TANK, "take-back", of=kept)
    subject_states.prune(at(10_000))
    subject_states.refold()
    assert [one.id for one in subject_states.log] == ["e5", "e1", kept]
    assert subject_states.masked_until(15) is None


def test_a_batch_that_its_course_ended_holds_no_entry_back() -> None:
    """The clock ended it, and nobody pressed anything."""
    subject_states = SubjectStates()
    subject_states.tell(0, TANK, "batch-start", batch="12", course="mash", stage="last")
    subject_states.tell(5, TANK, "stir")
    days = 24 * 60
    subject_states.prune(at(4.9 * days))
    assert len(subject_states.log) == 2
    subject_states.prune(at(5 * days))
    assert subject_states.log == [] and subject_states.courses == {}


def test_of_what_lasts_the_latest_is_kept() -> None:
    """Years of taking out and putting back are one entry at most for each place."""
    subject_states = SubjectStates()
    for day in range(50):
        subject_states.tell(10 * day, "store", "out-of-service")
        subject_states.tell(10 * day + 1, OTHER, "served-by", cooler=f"chiller-{1 + day % 2}")
        if day < 49:
            subject_states.tell(10 * day + 5, "store", "in-service")
        subject_states.tell(10 * day + 6, TANK, "out-of-service")
        subject_states.tell(10 * day + 7, TANK, "in-service")
    subject_states.prune(at(10_000))
    assert len(subject_states.log) == 2
    subject_states.refold()
    assert subject_states.out == {"store"} and subject_states.cooler_of(OTHER) == "chiller-2"


def test_what_was_out_before_stays_known_while_its_return_can_be_corrected() -> None:
    subject_states = SubjectStates()
    subject_states.tell(0, "store", "out-of-service")
    back = subject_states.tell(200, "store", "in-service")
    subject_states.prune(at(100))
    subject_states.tell(201, "store", "take-back", of=back)
    assert subject_states.out == {"store"}


def test_a_duty_to_come_is_kept_until_its_day_is_over() -> None:
    subject_states = SubjectStates()
    swap = {"from": "aki", "to": "bun", "day": "2026-03-20"}
    subject_states.tell(0, "watch", "duty-swap", **swap)
    spring = (date(2026, 3, 21) - date(2026, 2, 1)).days * 24 * 60
    subject_states.prune(at(spring - 18 * 60))
    assert len(subject_states.log) == 1
    subject_states.prune(at(spring + 24 * 60))
    assert subject_states.log == []
