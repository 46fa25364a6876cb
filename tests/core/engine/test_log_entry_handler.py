"""What becomes of an entry: once, at its time, and with which answer."""

from __future__ import annotations

from typing import Any

import msgspec
import pytest

from kuraban.core.deadlines import BatchEnded, EntryLapses
from kuraban.core.entries import BatchEnd
from kuraban.core.facts import EntryOutcome, Logged
from kuraban.core.units import DAY, HOUR, MINUTE
from tests.core.house import DUSK, Bell, Night, mashing


def test_an_entry_told_twice_counts_once() -> None:
    night = mashing()
    night.log("tank-3", "stir", id="s1", **{"for": "1h"})
    night.log("tank-3", "stir", id="s1", **{"for": "1h"})
    assert sum(isinstance(f, Logged) and f.id == "s1" for f in night.facts) == 1
    assert len(night.engine.view.entry_log.subject_state("tank-3").masks) == 1


def test_an_entry_ahead_of_the_clock_starts_at_its_time() -> None:
    night = mashing()
    night.log("tank-3", "stir", at=night.now + 4 * MINUTE)
    night.run(3.9)
    assert night.engine.view.masked("tank-3", night.now) is None
    night.run(0.1)
    assert night.engine.view.masked("tank-3", night.now) == night.now + 30 * MINUTE


def test_an_entry_ahead_of_the_clock_sees_the_value_of_its_time() -> None:
    """Let run from in four minutes on: half a degree about what it reads then."""
    night = mashing()
    night.run(5).told["t3-mid"] = 10.4
    night.run(30).log("tank-3", "let-run", at=night.now + 4 * MINUTE, more=0.5, for_="2h")
    night.run(5)
    run = night.engine.view.entry_log.subject_state("tank-3").let_run
    assert run is not None and run.base == pytest.approx(10.4, abs=0.05)


def test_let_run_is_about_the_value_of_this_moment_or_of_then() -> None:
    night = mashing()
    night.run(5).told["t3-mid"] = 10.4
    night.run(60).log("tank-3", "let-run", more=0.5, for_="2h")
    run = night.engine.view.entry_log.subject_state("tank-3").let_run
    assert run is not None and run.base == pytest.approx(10.4, abs=0.05)
    night.log("tank-4", "let-run", more=0.5, for_="2h", at=DUSK + 4.5 * MINUTE)
    late = night.engine.view.entry_log.subject_state("tank-4").let_run
    assert late is not None and late.base == pytest.approx(10.0, abs=0.05)


def test_let_run_answers_what_rings_and_is_held_to_its_word() -> None:
    night = mashing()
    night.run(10).told["t3-mid"] = 10.7
    night.run(75)
    assert night.steps("tank-3/warm") == ["raised"]
    night.log("tank-3", "let-run", who="aki", more=0.3, for_="2h")
    assert "acknowledged" in night.steps("tank-3/warm")
    before = len(night.pages())
    night.run(60)
    assert len(night.pages()) == before
    night.told["t3-mid"] = 11.15
    night.run(40)
    assert len(night.pages()) > before, "beyond its word it rings, after the limit's delay"


def test_a_refused_entry_is_kept_beside_the_reason() -> None:
    night = Night()
    night.log("tank-3", "hold", for_="1d")
    logged, refused = night.facts[-2:]
    assert isinstance(logged, Logged) and isinstance(refused, EntryOutcome)
    assert refused.key == logged.key and refused.fate == "refused"
    assert "log its batch-start first" in refused.reason


def test_a_correction_of_anything_never_stops_the_watch() -> None:
    """An amendment of every kind of entry, with fields that fit and that do not."""
    night = mashing()
    ids = [
        night.log("tank-3", "aim", celsius=9.0, by=night.now + HOUR),
        night.log("tank-3", "plan", points=[[night.now + HOUR, 9.5]]),
        night.log("tank-3", "stir", for_="10m"),
        night.log("tank-3", "hold", for_="1d"),
        night.log("tank-3", "let-run", for_="1h", more=0.3),
        night.log("tank-3", "acknowledge", condition="warm", for_="1h"),
        night.log("tank-3", "note", text="frost"),
        night.log("watch", "note", text="frost"),
    ]
    for number, name in enumerate(ids):
        night.log("tank-3", "amend", of=name, celsius=9.2)
        night.log("tank-3", "take-back", of=f"e{number + 3}")
    night.run(5)


def test_the_end_of_a_batch_is_waited_for_once_however_much_is_logged() -> None:
    """Else every entry would add one more look at everything to the moment at which it ends."""
    night = mashing()
    night.log("tank-3", "stage", stage="last")
    for _ in range(5):
        night.log("tank-4", "note", text="all well")
    assert [item.deadline for item in night.engine.deadlines.items].count(BatchEnded("tank-3")) == 1


# -------------------------------------------------------------------------------- once in all


def test_an_entry_kept_by_the_broker_for_months_ends_no_other_batch() -> None:
    """A wall button that retains: its batch-end comes again at every reconnect."""
    night = Bell()
    night.log("tank-3", "batch-start", batch="7", course="mash", by="aki")
    end = Logged("button-7", "tank-3", BatchEnd(), night.now, night.now)
    night.take(end)
    night.wake(night.now + 200 * DAY)
    night.log("tank-3", "batch-start", batch="next", course="mash", by="aki")
    night.take(msgspec.structs.replace(end, at=night.now, received=night.now))
    batch = night.engine.view.batch("tank-3", night.now)
    assert batch is not None and batch.name == "next"
    assert night.fates("button-7") == ["counted"]


# ---------------------------------------------------------------------- watched no more


def unwatched(night: Night, who: str = "aki") -> list[str]:
    """First lines of what the brewer was told of tanks that are not watched any more."""
    found = (message.title for message in night.messages("notice", who))
    return [title for title in found if "watched no more" in title or "another batch" in title]


def test_the_brewer_is_told_what_is_watched_no_more() -> None:
    """An end by the crew at the last stage, which waits for nobody."""
    night = mashing()
    night.log("tank-3", "stage", stage="last", by="aki")
    night.log("tank-3", "batch-end", by="dai")
    assert unwatched(night) == ["Tank 3 is watched no more: batch ended, by Dai"]


def test_a_wall_button_that_takes_a_tank_out_is_told_without_a_name() -> None:
    night = mashing()
    night.log("tank-4", "out-of-service")
    assert unwatched(night) == ["Tank 4 is watched no more: out of service"]


def test_the_brewer_is_not_told_what_he_did_himself() -> None:
    """Nor what he confirmed."""
    night = mashing()
    night.log("tank-3", "batch-end", who="aki")
    out = night.log("tank-4", "out-of-service", by="cho")
    night.log("tank-4", "confirm", of=out, by="Aki")
    assert unwatched(night) == []


def test_the_brewer_on_duty_hears_of_what_another_brewer_did() -> None:
    night = mashing()
    night.log("tank-3", "batch-end", by="bun")
    assert len(unwatched(night)) == 1


def test_what_two_of_the_crew_did_is_told_to_the_brewer() -> None:
    night = mashing()
    out = night.log("tank-4", "out-of-service", by="cho")
    night.log("tank-4", "confirm", of=out, by="dai")
    assert unwatched(night) == ["Tank 4 is watched no more: out of service, by Cho"]


def test_a_start_taken_back_or_renamed_is_told() -> None:
    night = mashing()
    for number, (entry, fields) in enumerate([("take-back", {}), ("amend", {"batch": "9"})], 1):
        told = night.log(f"tank-{number + 2}", entry, of=f"e{number}", by="cho", **fields)
        night.log("tank-3", "confirm", of=told, by="dai")
    assert unwatched(night) == [
        "Tank 3 is watched no more: an entry taken back, by Cho",
        "Tank 4 goes on as another batch: an entry amended, by Cho",
    ]


def test_mash_that_is_moved_is_watched_where_it_is() -> None:
    night = mashing()
    night.log("tank-3", "batch-end", by="aki")
    night.log("tank-4", "move", to="tank-3", by="dai")
    assert unwatched(night) == []


def test_work_takes_nothing_out_of_the_watch() -> None:
    night = mashing()
    for entry in ("stir", "probe-out", "probe-in", "note"):
        night.log("tank-3", entry, by="dai", **({"text": "frost"} if entry == "note" else {}))
    night.log("moto-1", "out-of-service", by="dai")
    assert unwatched(night) == []


def less(night: Night, who: str = "aki") -> list[str]:
    return [m.title for m in night.messages("notice", who) if "watched less" in m.title]


@pytest.mark.parametrize(
    ("subject", "entry", "fields", "what"),
    [
        ("tank-3", "shelve", {"condition": "warm", "for_": "12h"}, "a long time kept quiet"),
        ("tank-3", "let-run", {"for_": "12h", "more": 20.0}, "let it run"),
        ("tank-3", "aim", {"celsius": 18.0}, "an aim"),
        ("t3-mid", "out-of-service", {}, "out of service"),
    ],
)
def test_the_brewer_is_told_what_is_watched_less(
    subject: str, entry: str, fields: dict[str, Any], what: str
) -> None:
    """By whom and by which entry; not what a wall button's hour or his own hand did."""
    told = []
    for hands in ((None,), ("cho", "dai"), ("aki",)):
        night = mashing().run(15)
        more = {"by": night.now + 9 * HOUR, "who": hands[0]} if entry == "aim" else {"by": hands[0]}
        made = night.log(subject, entry, **fields, **{k: v for k, v in more.items() if v})
        if len(hands) > 1:
            assert night.fates(made) == ["waiting"] and less(night) == []
            night.log(subject, "confirm", of=made, by=hands[1])
        assert night.fates(made)[-1] in ("counted", "confirmed")
        told.append(less(night))
    assert told == [
        [f"Tank 3 is watched less: {what}"], [f"Tank 3 is watched less: {what}, by Cho"], [],
    ]  # fmt: skip


def test_a_probe_kept_out_beyond_its_hour_is_told() -> None:
    """The first hour is everybody's daily work."""
    night = mashing().run(15)
    night.log("tank-3", "probe-out", by="dai")
    assert less(night) == []
    night.told["t3-mid"] = 5.0
    night.run(30).log("tank-3", "probe-out")
    assert less(night) == ["Tank 3 is watched less: probe out"]


# ------------------------------------------------------------------------------- in and out


def ringing() -> Night:
    """Tank 3 is warm, and somebody is rung for it."""
    night = mashing()
    night.run(10).told["t3-mid"] = 11.5
    night.run(90)
    assert night.steps("tank-3/warm") == ["raised"]
    return night


def test_an_out_of_service_that_is_taken_back_lets_it_ring_again() -> None:
    night = ringing()
    out = night.log("tank-3", "out-of-service", by="aki")
    assert night.steps("tank-3/warm")[-1] == "out-of-service"
    night.log("tank-3", "take-back", of=out, by="aki")
    assert "in-service" in night.steps("tank-3/warm")
    assert night.run(90).engine.alarm_manager.alarm("tank-3", "warm").state.value == "UNACK"


def test_an_in_service_that_is_taken_back_silences_it_again() -> None:
    night = ringing()
    night.log("tank-3", "out-of-service", by="aki")
    back = night.log("tank-3", "in-service", by="aki")
    night.run(90).log("tank-3", "take-back", of=back, by="aki")
    assert night.steps("tank-3/warm")[-1] == "out-of-service"


def test_an_out_of_service_logged_after_its_end_silences_nothing() -> None:
    """Somebody writes down at last that it was out for ten minutes an hour ago."""
    night = ringing()
    night.log("tank-3", "in-service", at=night.now - 50 * MINUTE, by="aki")
    night.log("tank-3", "out-of-service", at=night.now - HOUR, by="aki")
    assert night.steps("tank-3/warm") == ["raised"]


def test_what_fell_away_is_waited_for_no_more() -> None:
    """One deadline for each entry that waits, however often it is looked at."""
    night = mashing()
    out = night.log("tank-3", "out-of-service", by="cho")
    logged = next(f for f in night.facts if isinstance(f, Logged) and f.id == out)
    night.engine.entry_handler.hold(logged, night.now)
    deadlines = [item.deadline for item in night.engine.deadlines.items]
    assert deadlines.count(EntryLapses("tank-3", out)) == 1


def test_entries_are_forgotten_when_what_they_were_about_is_over() -> None:
    """A batch that its course ended by the clock holds nothing back: forty weeks of koji."""
    night = Bell()
    for week in range(40):
        night.log("bed-1", "batch-start", batch=str(week), course="koji", by="aki")
        for hours in (10, 24):
            night.wake(night.now + hours * HOUR)
            night.log("bed-1", "handwork", by="cho")
        night.log("bed-1", "batch-end", by="aki")
        night.log("tank-3", "batch-start", batch=f"m{week}", course="mash", stage="last", by="aki")
        night.wake(night.now + 6 * DAY)
    assert len(night.engine.watched.state.entry_log.log) < 20
