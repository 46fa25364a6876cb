"""Entries that would stop the watch over a running batch wait for a second person."""

from __future__ import annotations

from kuraban.core.units import DAY
from tests.core.house import Night, mashing


def out(night: Night, by: str | None, ident: str = "o1") -> None:
    fields = {} if by is None else {"by": by}
    night.log("tank-3", "out-of-service", id=ident, **fields)


def watched(night: Night) -> bool:
    return night.engine.view.place_judged("tank-3", night.now)


def test_a_crew_members_slip_does_not_stop_the_watch() -> None:
    """Judging goes on under the old plan, and the brewer is asked."""
    night = mashing()
    out(night, "cho")
    assert watched(night)
    asked = night.messages("notice", "aki")
    assert asked and "second person" in asked[-1].title


def test_the_brewer_needs_nobody_else() -> None:
    night = mashing()
    out(night, "aki")
    assert not watched(night)


def test_a_wall_button_that_knows_no_name_counts_at_once() -> None:
    night = mashing()
    out(night, None)
    assert not watched(night)


def test_the_brewer_confirms_what_the_crew_entered() -> None:
    night = mashing()
    out(night, "cho")
    night.log("tank-3", "confirm", of="o1", by="aki")
    assert not watched(night)


def test_nobody_confirms_an_entry_of_their_own() -> None:
    night = mashing()
    out(night, "cho")
    night.log("tank-3", "confirm", of="o1", by="cho")
    assert watched(night)


def test_the_same_entry_by_a_second_person_confirms_it() -> None:
    night = mashing()
    out(night, "cho")
    out(night, "dai", "o2")
    assert not watched(night)


def test_the_same_finger_twice_is_no_second_person() -> None:
    night = mashing()
    out(night, "cho")
    out(night, "cho", "o2")
    assert watched(night)


def test_what_was_taken_back_cannot_be_confirmed_any_more() -> None:
    night = mashing()
    out(night, "cho")
    night.log("tank-3", "take-back", of="o1", by="cho")
    night.log("tank-3", "confirm", of="o1", by="aki")
    assert watched(night)


def test_what_nobody_confirmed_within_a_day_falls_away() -> None:
    night = mashing()
    out(night, "cho")
    night.run(24 * 60 + 1)
    night.log("tank-3", "confirm", of="o1", by="aki")
    assert watched(night)


def test_a_stage_that_is_not_the_next_waits_and_the_next_one_does_not() -> None:
    night = mashing()
    plan = night.engine.view.batch("tank-3", night.now)
    assert plan is not None
    here = plan.plan.standing(night.now).span.stage
    stages = [stage.id for stage in plan.course.stages]
    night.log("tank-3", "stage", stage=stages[here - 1], by="cho")
    assert night.engine.entry_handler.pending.held
    night.log("tank-3", "stage", stage=stages[here + 1], by="cho")
    batch = night.engine.view.batch("tank-3", night.now)
    assert batch is not None
    assert batch.plan.standing(night.now).span.stage == here + 1


def test_a_batch_ended_before_its_last_stage_waits() -> None:
    night = mashing()
    night.log("tank-3", "batch-end", by="cho")
    assert watched(night)


def test_one_person_under_two_names_is_no_second_person() -> None:
    """By id on the page, by name from the wall."""
    night = mashing()
    out(night, "cho")
    out(night, "Cho", "o2")
    night.log("tank-3", "confirm", of="o1", by="Cho")
    assert watched(night)


def test_two_strangers_to_the_site_file_are_two() -> None:
    night = mashing()
    out(night, "the new one")
    out(night, "another", "o2")
    assert not watched(night)


def test_a_wall_button_confirms_what_it_may_do_alone() -> None:
    """Somebody stands there; but a start is not undone by a hand without a name."""
    night = mashing()
    out(night, "cho")
    night.log("tank-3", "confirm", of="o1")
    assert not watched(night)
    night.log("tank-4", "take-back", id="t1", of="e2", by="cho")
    night.log("tank-4", "confirm", of="t1")
    night.log("tank-4", "take-back", id="t2", of="e2")
    assert night.engine.view.place_judged("tank-4", night.now)
    night.log("tank-4", "confirm", of="t1", by="dai")
    assert not night.engine.view.place_judged("tank-4", night.now)


def test_two_hands_without_a_name_are_no_two_persons() -> None:
    night = mashing()
    for ident in ("t1", "t2"):
        night.log("tank-3", "take-back", id=ident, of="e1")
    assert watched(night)
    night.log("tank-3", "confirm", of="t1", by="cho")
    assert not watched(night)


def test_two_entries_of_one_id_in_two_tanks_wait_each_for_itself() -> None:
    night = mashing()
    night.log("tank-3", "out-of-service", id="1", by="cho")
    night.log("tank-4", "out-of-service", id="1", by="cho")
    night.log("tank-4", "confirm", of="1", by="aki")
    assert watched(night) and not night.engine.view.place_judged("tank-4", night.now)


def test_the_same_in_another_tank_confirms_nothing() -> None:
    night = mashing()
    out(night, "cho")
    night.log("tank-4", "out-of-service", by="dai")
    assert watched(night) and len(night.engine.entry_handler.pending.held) == 2


def test_the_brewer_is_asked_once_for_each_entry() -> None:
    night = mashing()
    out(night, "cho")
    out(night, "dai", "o2")
    asked = [one for one in night.messages("notice", "aki") if "second person" in one.title]
    assert len(asked) == 1


def test_what_had_to_wait_then_waits_now_whatever_the_rules_say() -> None:
    """After a restart entries are taken anew, by what was decided when they came."""
    night = mashing()
    pending = night.engine.entry_handler.pending
    pending.decided = {("tank-3", "o1"): False, ("tank-4", "s1"): True}
    out(night, "cho")
    night.log("tank-4", "stir", id="s1", by="cho")
    assert not watched(night) and night.fates("s1") == ["waiting"]
    assert pending.decided == {}, "each is asked once"


def test_an_entry_waits_a_whole_day_for_its_second_person() -> None:
    night = mashing()
    out(night, "cho")
    night.wake(night.now + DAY - 1)
    assert night.engine.entry_handler.pending.held and night.fates("o1") == ["waiting"]
    night.wake(night.now + 1)
    assert not night.engine.entry_handler.pending.held and watched(night)


def test_the_reason_does_not_make_another_entry_of_it() -> None:
    """Two people mean the same though each puts it in words of their own."""
    night = mashing()
    night.log("tank-3", "out-of-service", reason="cleaning", by="cho")
    night.log("tank-3", "out-of-service", reason="it is empty", by="dai")
    assert not watched(night)


def test_an_entry_about_the_same_tank_is_found_before_one_of_its_name_elsewhere() -> None:
    night = mashing()
    for tank in ("tank-3", "tank-4"):
        night.log(tank, "out-of-service", id="1", by="cho")
    pending = night.engine.entry_handler.pending
    found = pending.find("1", "tank-4")
    assert found is not None and found.subject == "tank-4"
    other = pending.find("1", "store")
    assert other is not None and other.subject == "tank-3"
    assert pending.find("2", "tank-3") is None
