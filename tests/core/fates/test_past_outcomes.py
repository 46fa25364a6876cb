"""What became of the entries of a journal that does not say so."""

from __future__ import annotations

from collections.abc import Callable

import msgspec
from hypothesis import given, settings
from hypothesis import strategies as st

from kuraban.core import entries as e
from kuraban.core.facts import ClockStepped, EntryOutcome, HouseChanged, Logged
from kuraban.core.fates.past_outcomes import past_outcomes
from kuraban.core.units import DAY, HOUR, MINUTE
from tests.core.house import DUSK, Night, brewery

Row = tuple[int, Logged | HouseChanged | ClockStepped]


def rows(night: Night) -> list[Row]:
    """What an older journal would hold of it."""
    return [
        (number, fact)
        for number, fact in enumerate(night.facts, start=1)
        if isinstance(fact, (Logged, HouseChanged, ClockStepped))
    ]


def derived(
    night: Night, until: float | None = None, refused: dict[tuple[str, str], str] | None = None
) -> list[EntryOutcome]:
    end = night.now if until is None else until
    return [outcome for _, outcome in past_outcomes(rows(night), refused or {}, end)]


def fates(outcomes: list[EntryOutcome], entry: str) -> list[str]:
    return [outcome.fate for outcome in outcomes if outcome.id == entry]


def evening() -> Night:
    """A batch, an end that waits, one that was confirmed, a correction."""
    night = Night()
    night.log("tank-3", "batch-start", id="a", batch="7", course="mash")
    night.log("tank-4", "batch-start", id="b", batch="8", course="mash")
    night.wake(night.now + HOUR)
    night.log("tank-3", "batch-end", id="end", by="cho")
    night.log("tank-4", "batch-end", id="other", by="cho")
    night.wake(night.now + MINUTE)
    night.log("tank-4", "confirm", id="yes", of="other", by="aki")
    stir = night.log("tank-3", "stir", id="stir", by="cho")
    night.log("tank-3", "take-back", id="back", of=stir, by="cho")
    night.log("tank-4", "hold", id="no", for_="1d")
    return night


def test_they_are_found_as_they_were_decided() -> None:
    night = evening()
    decided = [fact for fact in night.facts if isinstance(fact, EntryOutcome)]
    assert derived(night) == decided
    assert {outcome.fate for outcome in decided} == {
        "counted", "waiting", "confirmed", "taken-back", "refused",
    }  # fmt: skip


def test_each_has_the_number_of_the_row_after_which_it_was_so() -> None:
    night = evening()
    told = rows(night)
    number = {fact.id: seq for seq, fact in told if isinstance(fact, Logged)}
    found = [(seq, one.id, one.fate) for seq, one in past_outcomes(told, {}, night.now)]
    assert (number["yes"], "other", "confirmed") in found
    assert (number["back"], "stir", "taken-back") in found
    assert [seq for seq, *_ in found] == sorted(seq for seq, *_ in found)


def test_what_nobody_confirmed_has_fallen_away() -> None:
    night = evening()
    assert fates(derived(night, DUSK + HOUR + DAY), "end") == ["waiting", "fallen-away"]
    assert fates(derived(night, DUSK + HOUR + DAY - 1), "end") == ["waiting"]


def test_a_refusal_that_is_known_is_believed() -> None:
    """What the house was then nobody can ask any more."""
    found = derived(evening(), refused={("tank-3", "stir"): "the door was shut"})
    (outcome,) = [one for one in found if one.id == "stir"]
    assert (outcome.fate, outcome.reason) == ("refused", "the door was shut")
    assert fates(found, "back") == ["refused"], "there is nothing that it could take back"


def test_the_rules_are_those_of_that_time() -> None:
    """A correction of a start, a plan far from the course: both counted when anybody made them."""
    night = Night()
    night.log("tank-3", "batch-start", id="a", batch="7", course="mash")
    night.log("tank-3", "aim", id="far", celsius=50.0, by=night.now + HOUR, who="cho")
    night.log("tank-3", "take-back", id="back", of="a", by="cho")
    assert [night.fates(one)[-1] for one in ("far", "back")] == ["waiting", "waiting"]
    found = derived(night)
    assert fates(found, "far")[0] == "counted" and fates(found, "back") == ["counted"]
    assert fates(found, "a") == ["counted", "taken-back"]


def test_each_entry_is_held_against_the_house_of_its_time() -> None:
    house = brewery()
    night = Night(msgspec.structs.replace(house, courses=()))
    start = e.BatchStart(batch="7", course="mash")
    night.take(Logged("early", "tank-3", start, night.now, night.now))
    night.change(house)
    night.take(Logged("late", "tank-3", start, night.now, night.now))
    found = derived(night)
    assert fates(found, "early") == ["refused"] and fates(found, "late") == ["counted"]


def test_entries_before_any_house_were_lost() -> None:
    note = Logged("n", "watch", e.Note(text="frost"), 0.0, 0.0)
    assert list(past_outcomes([(1, note)], {}, 0.0)) == []


def test_a_step_of_the_clock_changes_no_fate() -> None:
    night = evening()
    step = ClockStepped(night.now, HOUR, HOUR, DUSK)
    told = [*rows(night), (999, step)]
    before = [outcome for _, outcome in past_outcomes(rows(night), {}, night.now)]
    assert [outcome for _, outcome in past_outcomes(told, {}, night.now)] == before


def test_what_was_forgotten_then_could_not_be_corrected() -> None:
    """A week after its batch was over."""
    night = Night()
    night.log("tank-3", "stir", id="stir")
    night.wake(night.now + 9 * DAY)
    night.log("tank-4", "stir", id="other")
    night.log("tank-3", "take-back", id="back", of="stir")
    assert night.fates("back") == ["refused"]
    assert derived(night) == [one for one in night.facts if isinstance(one, EntryOutcome)]


KINDS: list[Callable[[Night, str, str], None]] = [
    lambda night, of, by: night.log("tank-3", "stir", by=by) and None,
    lambda night, of, by: night.log("tank-3", "batch-start", batch="7", course="mash") and None,
    lambda night, of, by: night.log("tank-3", "batch-end", by=by) and None,
    lambda night, of, by: night.log("tank-3", "stage", stage="tome", by=by) and None,
    lambda night, of, by: night.log("tank-3", "confirm", of=of, by=by) and None,
    lambda night, of, by: night.log("tank-3", "take-back", of=of, by="aki") and None,
    lambda night, of, by: night.log("tank-3", "amend", of=of, by="aki", batch="9") and None,
]


@settings(max_examples=60)
@given(
    st.lists(
        st.tuples(
            st.sampled_from(range(len(KINDS))), st.integers(1, 8),
            st.sampled_from(["aki", "cho", "dai"]), st.integers(0, 15),
        ),
        max_size=12,
    )
)  # fmt: skip
def test_whatever_was_entered_the_outcomes_are_found_again(
    told: list[tuple[int, int, str, int]],
) -> None:
    """As far as the rules are the same: corrections here are the brewer's."""
    night = Night()
    for kind, of, by, hours in told:
        night.wake(night.now + hours * HOUR)
        KINDS[kind](night, f"e{of}", by)
    decided = [fact for fact in night.facts if isinstance(fact, EntryOutcome)]
    assert derived(night) == decided
