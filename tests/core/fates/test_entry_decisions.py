"""What becomes of an entry is told once, at each change, with the reason."""

from __future__ import annotations

import msgspec

from kuraban.core.entries import Acknowledge
from kuraban.core.facts import EntryOutcome, Logged
from kuraban.core.units import DAY, HOUR, MINUTE
from tests.core.house import DUSK, Night, mashing


def told(night: Night, entry: str) -> list[EntryOutcome]:
    return [fact for fact in night.facts if isinstance(fact, EntryOutcome) and fact.id == entry]


def test_an_entry_that_fits_counts_and_is_told_with_it() -> None:
    """Behind it, in the same breath."""
    night = mashing()
    stir = night.log("tank-3", "stir", by="cho")
    logged, outcome = night.facts[-2:]
    assert isinstance(logged, Logged) and logged.id == stir
    assert outcome == EntryOutcome("tank-3", stir, "counted", night.now)


def test_one_that_does_not_fit_is_refused_with_the_reason() -> None:
    night = Night()
    hold = night.log("tank-3", "hold", for_="1d")
    (outcome,) = told(night, hold)
    assert outcome.fate == "refused" and outcome.reason.startswith("no batch runs in tank-3")


def test_an_entry_ahead_of_its_time_is_decided_at_its_time() -> None:
    night = mashing()
    stir = night.log("tank-3", "stir", at=night.now + 4 * MINUTE)
    assert told(night, stir) == []
    night.run(5)
    assert told(night, stir) == [EntryOutcome("tank-3", stir, "counted", DUSK + 4 * MINUTE)]


def test_what_waits_is_confirmed_by_somebody_else_and_counts() -> None:
    """Who confirmed it is told; the confirmation is an entry that counts too."""
    night = mashing()
    out = night.log("tank-3", "out-of-service", by="cho")
    night.run(5)
    yes = night.log("tank-3", "confirm", of=out, by="dai")
    waiting, confirmed = told(night, out)
    assert (waiting.fate, waiting.received) == ("waiting", DUSK)
    assert confirmed == EntryOutcome("tank-3", out, "confirmed", night.now, ("tank-3", yes), "dai")
    assert night.fates(yes) == ["counted"]


def test_a_confirmation_of_ones_own_is_refused() -> None:
    night = mashing()
    out = night.log("tank-3", "out-of-service", by="cho")
    yes = night.log("tank-3", "confirm", of=out, by="Cho")
    assert night.fates(out) == ["waiting"]
    assert night.outcome(yes).reason == (
        f"entry '{out}' waits for a second person; whoever made it cannot confirm it"
    )


def test_a_confirmation_of_nothing_is_refused() -> None:
    night = mashing()
    yes = night.log("tank-3", "confirm", of="e1", by="aki")
    assert night.outcome(yes).reason == "no entry 'e1' waits for a second person"


def test_who_says_the_same_confirms_it_and_the_first_counts() -> None:
    """One thing was done, and it stands in the record once."""
    night = mashing()
    first = night.log("tank-3", "batch-end", by="cho")
    second = night.log("tank-3", "batch-end", by="dai")
    assert night.fates(first) == ["waiting", "confirmed"] and night.fates(second) == ["repeated"]
    assert night.outcome(first).cause == ("tank-3", second)
    assert night.outcome(second).cause == ("tank-3", first)


def test_the_brewer_who_does_the_same_confirms_it() -> None:
    night = mashing()
    first = night.log("tank-3", "batch-end", by="cho")
    second = night.log("tank-3", "batch-end", by="aki")
    assert night.fates(first)[-1] == "confirmed" and night.fates(second) == ["repeated"]


def test_a_reason_of_ones_own_makes_it_no_other_entry() -> None:
    night = mashing()
    first = night.log("tank-3", "out-of-service", by="cho", reason="leak")
    night.log("tank-3", "out-of-service", by="dai", reason="it drips")
    assert night.fates(first)[-1] == "confirmed"


def test_what_was_confirmed_and_fits_no_more_is_refused() -> None:
    """Its batch never was, as it turned out meanwhile."""
    night = mashing()
    stage = night.log("tank-3", "stage", stage="naka", by="cho")
    night.run(5).log("tank-3", "take-back", of="e1", by="aki")
    yes = night.log("tank-3", "confirm", of=stage, by="dai")
    outcome = night.outcome(stage)
    assert (outcome.fate, outcome.cause) == ("refused", ("tank-3", yes))
    assert outcome.reason.startswith("no batch runs in tank-3")


def test_what_was_confirmed_counts_from_its_own_time() -> None:
    """What was logged meanwhile and fits no more beside it is told."""
    night = mashing()
    naka = night.log("tank-3", "stage", stage="naka", by="cho")
    late = night.run(5).log("tank-3", "stage", stage="naka", since=night.now - MINUTE, by="aki")
    night.log("tank-3", "confirm", of=naka, by="dai")
    assert night.fates(naka) == ["waiting", "confirmed"]
    assert night.fates(late) == ["counted", "refused"]


def test_nobody_confirmed_it_within_a_day() -> None:
    """To the second, though nothing else happens."""
    night = mashing()
    out = night.log("tank-3", "out-of-service", by="cho")
    night.wake(DUSK + DAY - 1)
    assert night.fates(out) == ["waiting"]
    night.wake(DUSK + DAY)
    assert told(night, out)[-1] == EntryOutcome("tank-3", out, "fallen-away", DUSK + DAY)
    assert not night.engine.entry_handler.pending.held


def test_whoever_sees_the_slip_takes_back_what_waits() -> None:
    night = mashing()
    out = night.log("tank-3", "out-of-service", by="cho")
    back = night.log("tank-3", "take-back", of=out, by="dai")
    assert night.fates(out) == ["waiting", "taken-back"] and night.fates(back) == ["counted"]
    assert (night.outcome(out).cause, night.outcome(out).by) == (("tank-3", back), "dai")


def test_what_waits_is_not_amended_under_the_eyes_of_who_confirms_it() -> None:
    night = mashing()
    run = night.log("tank-3", "let-run", for_="1h", more=2.0, by="cho")
    more = night.log("tank-3", "amend", of=run, more=20.0, by="cho")
    assert "take it back, then make the one that is right" in night.outcome(more).reason
    night.log("tank-3", "confirm", of=run, by="aki")
    let_run = night.engine.view.entry_log.of("tank-3").let_run
    assert let_run is not None and let_run.more == 2.0


def test_a_correction_names_what_waits_in_its_own_place() -> None:
    """Two wall buttons both began at 1: a stir in the one tank, an end that waits in the other."""
    night = mashing()
    night.log("tank-3", "stir", id="1", by="cho")
    night.log("tank-4", "batch-end", id="1", by="cho")
    night.log("tank-3", "take-back", of="1", by="cho")
    assert night.engine.entry_handler.pending.held.keys() == {("tank-4", "1")}
    night.log("tank-4", "take-back", of="1", by="cho")
    assert not night.engine.entry_handler.pending.held


def test_taken_back_amended_and_back_again() -> None:
    """Each change is told, with the entry by which it came about."""
    night = mashing()
    ice = night.log("tank-3", "addition", what="ice", kg=20, by="dai")
    less = night.log("tank-3", "amend", of=ice, kg=12, by="aki")
    back = night.log("tank-3", "take-back", of=ice, by="cho")
    again = night.log("tank-3", "take-back", of=back, by="dai")
    plain = night.log("tank-3", "take-back", of=less, by="cho")
    stands = [(one.fate, one.cause and one.cause[1], one.by) for one in told(night, ice)]
    assert stands == [
        ("counted", None, None), ("amended", less, "aki"), ("taken-back", back, "cho"),
        ("amended", less, "aki"), ("counted", plain, "cho"),
    ]  # fmt: skip
    amended = told(night, ice)[1].entry
    assert amended is not None and msgspec.to_builtins(amended)["kg"] == 12
    assert night.fates(back) == ["counted", "taken-back"]
    assert night.outcome(back).cause == ("tank-3", again)


def test_what_hung_on_a_corrected_entry_is_told_as_well() -> None:
    """The stage of a batch that never was is refused by then, and counts again when it was."""
    night = Night()
    start = night.log("tank-3", "batch-start", batch="7", course="mash")
    night.run(1)
    tome = night.log("tank-3", "stage", stage="tome")
    back = night.log("tank-3", "take-back", of=start, by="aki")
    outcome = night.outcome(tome)
    assert outcome.fate == "refused" and outcome.reason.startswith("no batch runs in tank-3")
    assert (outcome.cause, outcome.by) == (("tank-3", back), "aki")
    night.log("tank-3", "take-back", of=back, by="aki")
    assert night.fates(tome) == ["counted", "refused", "counted"]


def test_a_changed_house_in_which_an_entry_no_longer_fits_is_told() -> None:
    night = mashing()
    served = night.log("tank-3", "served-by", cooler="chiller-2")
    coolers = tuple(one for one in night.house.coolers if one.id != "chiller-2")
    night.run(1).change(msgspec.structs.replace(night.house, coolers=coolers))
    outcome = night.outcome(served)
    assert (outcome.fate, outcome.reason) == ("refused", "no cooler 'chiller-2' in the site file")
    assert outcome.cause is None and outcome.received == night.now


def test_nothing_is_told_twice() -> None:
    """A fold that changes nothing of an entry says nothing of it."""
    night = mashing()
    stir = night.log("tank-3", "stir")
    night.run(5).log("tank-3", "stir", at=night.now - HOUR)
    night.change(night.house)
    night.log("tank-3", "take-back", of="e99")
    assert night.fates(stir) == ["counted"] and night.fates("e1") == ["counted"]


def test_an_alarm_that_nobody_knows_is_refused() -> None:
    """The door knows this; a journal of another version need not."""
    night = mashing()
    logged = Logged("old", "tank-3", Acknowledge(condition="foaming"), night.now, night.now)
    night.take(logged)
    assert night.outcome("old").reason.startswith("no condition 'foaming'; they are ")
