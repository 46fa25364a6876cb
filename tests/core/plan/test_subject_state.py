"""What the books say of a place, a cooler or a probe."""

from __future__ import annotations

import msgspec

from kuraban.core.plan.entry_log import EntryLog
from kuraban.core.site import Place
from tests.core.house import brewery
from tests.core.logged import OTHER, TANK, SubjectStates, at, started


def test_one_batch_may_run_in_several_places() -> None:
    subject_states = started()
    subject_states.tell(5, OTHER, "batch-start", batch="12", course="mash")
    assert subject_states.runs(OTHER, 6).name == subject_states.runs(TANK, 6).name


def test_another_cooler_serves_from_now_on() -> None:
    subject_states = SubjectStates()
    assert subject_states.serving(TANK) == subject_states.serving(OTHER) == {"chiller-1"}
    assert subject_states.cooler_of(TANK) == "chiller-1"
    subject_states.tell(5, TANK, "served-by", cooler="chiller-2")
    assert subject_states.serving(TANK) == {"chiller-2"}
    assert subject_states.serving(OTHER) == {"chiller-1"}
    assert subject_states.cooler_of(TANK) == "chiller-2"


def test_a_heater_is_what_serves_a_koji_bed() -> None:
    assert (
        SubjectStates().cooler_of("bed-1") == "heater-1"
        and SubjectStates().cooler_of("store") is None
    )


def test_masks_that_overlap_are_one_stretch() -> None:
    subject_states = started()
    subject_states.tell(0, TANK, "addition", what="rice")
    subject_states.tell(80, TANK, "stir")
    assert subject_states.masked_until(5) == 110 and subject_states.masked_until(100) == 110


def test_between_two_masks_the_product_is_judged() -> None:
    """A stir and another an hour and a half later are two stretches, not one."""
    subject_states = started()
    subject_states.tell(0, TANK, "stir")
    subject_states.tell(90, TANK, "stir")
    assert subject_states.masked_until(5) == 30 and subject_states.masked_until(95) == 120
    assert subject_states.masked_until(31) is None and subject_states.masked_until(29.9) == 30


def test_one_tanks_mask_is_not_anothers() -> None:
    subject_states = started()
    subject_states.tell(10, TANK, "stir")
    assert subject_states.masked_until(11, OTHER) is None


def test_who_worked_at_the_product_is_remembered() -> None:
    subject_states = started()
    subject_states.tell(5, TANK, "stir", by="dai")
    subject_states.tell(9, "t3-mid", "probe-out", by="ken")
    subject_states.tell(12, TANK, "note", text="frost", by="aki")
    subject_state = subject_states.subject_state(TANK)
    assert subject_state.hands == [(at(5), "dai"), (at(9), "ken")]
    assert (subject_state.last_stir, subject_state.last_work) == (at(5), ("probe-out", at(9)))


def test_no_batch_runs_after_its_last_stage_and_where_nothing_but_a_note_was_logged() -> None:
    subject_states = started("last")
    assert subject_states.batch(TANK, at(5 * 24 * 60 - 1)) is not None
    assert subject_states.batch(TANK, at(5 * 24 * 60)) is None
    subject_states.tell(1, OTHER, "check", celsius=10.0)
    assert subject_states.batch(OTHER, at(2)) is None and subject_states.batch("store", 0) is None


def test_what_keeps_a_room_serves_what_stands_in_it() -> None:
    """Beside a cooler of its own; a heater of the room where there is none."""
    house = brewery()
    cellar = Place(id="cellar", kind="room", name="Cellar", cooler="chiller-2")
    warm = Place(id="warm", kind="room", name="Warm room", heater="heater-1")
    tank = msgspec.structs.replace(house.place[TANK], room="cellar")
    bare = msgspec.structs.replace(tank, id="bare", cooler=None)
    bed = Place(id="bed", kind="koji-bed", name="Bed", room="warm")
    alone = msgspec.structs.replace(bare, id="alone", room=None)
    books = EntryLog(
        msgspec.structs.replace(house, places=(cellar, warm, tank, bare, bed, alone), probes=())
    )
    found = {place: (books.cooler_of(place), books.serving(place)) for place in books.house.place}
    assert found == {
        "cellar": ("chiller-2", {"chiller-2"}), "warm": ("heater-1", {"heater-1"}),
        TANK: ("chiller-1", {"chiller-1", "chiller-2"}), "bare": ("chiller-2", {"chiller-2"}),
        "bed": ("heater-1", {"heater-1"}), "alone": (None, set()),
    }  # fmt: skip
