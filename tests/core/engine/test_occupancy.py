"""Which batch stood where when, as the journal alone tells it."""

from __future__ import annotations

from kuraban.core.engine.occupancy import Occupancy
from kuraban.core.facts import EntryOutcome, HouseChanged, Logged
from kuraban.core.plan.counted_entries import ToldEntry
from kuraban.core.site import from_document
from kuraban.core.units import DAY, HOUR, MINUTE
from tests.core.house import DUSK, Bell


def learnt(night: Bell) -> Occupancy:
    """What a reader of the night's facts knows in the end."""
    occupancy, made = Occupancy(), {}
    for fact in night.facts:
        if isinstance(fact, HouseChanged):
            occupancy.settle_in(from_document(fact.document))
        elif isinstance(fact, Logged):
            made[fact.key] = fact
        elif isinstance(fact, EntryOutcome):
            occupancy.take(ToldEntry(made[fact.key], fact))
    return occupancy


def begin(night: Bell, place: str, batch: str, **more: object) -> None:
    night.log(place, "batch-start", batch=batch, course="mash", stage="main", **more)


def test_one_batch_after_another() -> None:
    """Each from its start to its end, and nobody between."""
    night = Bell()
    begin(night, "tank-3", "7")
    night.on(600)
    night.log("tank-3", "batch-end")
    night.on(60)
    begin(night, "tank-3", "8")
    occupancy = learnt(night)
    moments = (-1, 0, 599, 600, 659, 660, 9999)
    found = [occupancy.at("tank-3", DUSK + minutes * MINUTE).batch for minutes in moments]
    assert found == [None, "7", "7", None, None, "8", "8"]
    assert occupancy.at("tank-4", DUSK).batch is None


def test_the_answer_says_how_long_it_holds() -> None:
    """So that nobody need ask for each of a million readings."""
    night = Bell()
    begin(night, "tank-3", "7")
    night.on(600)
    night.log("tank-3", "batch-end")
    occupancy = learnt(night)
    assert occupancy.at("tank-3", DUSK + 5)[1:] == (DUSK, DUSK + 600 * MINUTE)
    assert occupancy.at("tank-3", DUSK - 5).end == DUSK
    assert occupancy.at("tank-3", DUSK + DAY).start == DUSK + 600 * MINUTE


def test_a_batch_taken_over_stood_there_before() -> None:
    night = Bell()
    begin(night, "tank-3", "7", since=DUSK - 3 * DAY)
    assert learnt(night).at("tank-3", DUSK - 2 * DAY).batch == "7"


def test_a_mash_that_moves_is_where_it_is() -> None:
    """It was not in the new tank before it came there."""
    night = Bell()
    begin(night, "tank-3", "7", since=DUSK - 3 * DAY)
    night.on(60)
    night.log("tank-3", "move", to="tank-4")
    occupancy, moved = learnt(night), DUSK + HOUR
    assert [occupancy.at("tank-3", at).batch for at in (moved - 1, moved)] == ["7", None]
    assert [occupancy.at("tank-4", at).batch for at in (moved - 1, moved)] == [None, "7"]


def test_a_mash_that_is_split_is_in_both() -> None:
    night = Bell()
    begin(night, "tank-3", "7")
    night.on(60)
    night.log("tank-3", "split", to=["tank-3", "tank-4"])
    occupancy, later = learnt(night), DUSK + 2 * HOUR
    assert [occupancy.at(tank, later).batch for tank in ("tank-3", "tank-4")] == ["7", "7"]


def test_what_was_logged_late_counts_from_its_time() -> None:
    night = Bell()
    begin(night, "tank-3", "7")
    night.on(600)
    night.log("tank-3", "batch-end", at=DUSK + 100 * MINUTE)
    occupancy = learnt(night)
    assert occupancy.at("tank-3", DUSK + 99 * MINUTE).batch == "7"
    assert occupancy.at("tank-3", DUSK + 101 * MINUTE).batch is None


def test_a_slip_of_a_thumb_ends_no_batch() -> None:
    """Until a second person confirms it: the watch judges on, too."""
    night = Bell()
    begin(night, "tank-3", "7")
    night.on(60)
    ended = night.log("tank-3", "batch-end", by="dai")
    assert learnt(night).at("tank-3", night.now + 1).batch == "7"
    night.on(5)
    night.log("tank-3", "confirm", of=ended, by="aki")
    occupancy = learnt(night)
    assert occupancy.at("tank-3", DUSK + 59 * MINUTE).batch == "7"
    assert occupancy.at("tank-3", night.now + 1).batch is None


def test_an_end_that_was_taken_back_was_none() -> None:
    night = Bell()
    begin(night, "tank-3", "7")
    night.on(60)
    ended = night.log("tank-3", "batch-end")
    night.on(5)
    night.log("tank-3", "take-back", of=ended)
    occupancy = learnt(night)
    assert [occupancy.at("tank-3", DUSK + m * MINUTE).batch for m in (30, 62, 90)] == ["7"] * 3


def test_a_start_that_was_refused_was_none() -> None:
    night = Bell()
    begin(night, "tank-3", "7")
    night.on(60)
    begin(night, "tank-3", "8")
    assert night.refusals()
    assert learnt(night).at("tank-3", night.now).batch == "7"


def test_a_course_that_ends_by_the_clock_ends_the_stay() -> None:
    night = Bell()
    night.log("tank-3", "batch-start", batch="7", course="mash", stage="last")
    occupancy = learnt(night)
    assert [occupancy.at("tank-3", DUSK + days * DAY).batch for days in (4.9, 5)] == ["7", None]


def test_a_changed_house_keeps_its_batches() -> None:
    night = Bell()
    begin(night, "tank-3", "7")
    night.change(night.house)
    assert learnt(night).at("tank-3", DUSK + 1).batch == "7"


def test_what_came_before_any_house_is_lost() -> None:
    occupancy = Occupancy()
    night = Bell()
    begin(night, "tank-3", "7")
    logged = next(fact for fact in night.facts if isinstance(fact, Logged))
    occupancy.take(ToldEntry(logged, night.outcome(logged.id)))
    assert occupancy.at("tank-3", DUSK).batch is None
