"""The morning report, the evening word, and what nobody watches."""

from __future__ import annotations

import msgspec
import pytest

from kuraban.core.forecast.time_to_limit import Hours
from kuraban.core.notify import reports
from kuraban.core.site import Duty
from kuraban.core.texts.messages import Morning
from kuraban.core.units import DAY, HOUR, MINUTE
from tests.core.house import AWAKE, DUSK, Bell, Night, brewery, brewing, mashing, moment


def morning(night: Night) -> Morning:
    engine = night.engine
    return reports.morning_report(
        engine.view,
        engine.alarm_manager,
        night.story,
        engine.notifier.deferred_alarms.waiting,
        night.now,
    )


# -------------------------------------------------------------------------------------- not watched


def test_why_a_place_is_not_judged() -> None:
    night = Night()
    night.log("tank-3", "batch-start", batch="3", course="mash")
    night.log("bed-2", "batch-start", batch="K", course="koji")
    night.log("store", "out-of-service", reason="defrosting")
    why = {p: reports.why_not_judged(night.engine.view, p, night.now) for p in night.house.place}
    assert why == {
        "tank-3": None, "tank-4": "no-batch", "moto-1": "no-batch", "bed-1": "no-batch",
        "bed-2": "no-probe", "store": "out-of-service",
    }  # fmt: skip


def test_a_room_without_a_band_is_not_to_be_judged_and_a_store_without_a_probe_cannot_be() -> None:
    house, store = brewery(), brewery().place["store"]
    room = msgspec.structs.replace(store, id="room", kind="room", band=None)
    bare = msgspec.structs.replace(store, id="bare", name="Rice store")
    night = Night(msgspec.structs.replace(house, places=(room, bare), probes=()))
    why = [reports.why_not_judged(night.engine.view, place, DUSK) for place in ("room", "bare")]
    assert why == ["no-band", "no-probe"]
    assert reports.not_watched(night.engine.view, DUSK) == (("Rice store", "no-probe"),)


def test_everything_that_is_not_watched_is_named() -> None:
    night = mashing()
    night.log("tank-4", "out-of-service", by="aki")
    assert dict(reports.not_watched(night.engine.view, night.now)) == {
        "Tank 4": "out-of-service", "Starter 1": "no-batch", "Koji bed 1": "no-batch",
        "Koji bed 2": "no-batch",
    }  # fmt: skip


# -------------------------------------------------------------------------------------- the evening


def test_the_evening_word_comes_to_the_brewer_at_its_hour() -> None:
    night = mashing(at=DUSK + DAY)
    night.run(149)
    assert not night.messages("notice")
    night.run(1)
    word = night.messages("notice")
    assert [(each.person, each.at) for each in word] == [("aki", moment("2026-02-02T20:30"))]
    assert "Koji bed 1" in word[0].body, "what is not watched is named"


def test_no_evening_word_where_nothing_is_judged() -> None:
    night = Night(at=DUSK + DAY)
    night.log("store", "out-of-service")
    night.run(300)
    assert not night.messages("notice")


def test_the_evening_word_names_the_tank_that_will_leave_its_band() -> None:
    """0.3 above plan and rising by 0.05 an hour: half a degree well before the morning."""
    night = mashing()
    night.told["t3-mid"] = lambda at: 10.1 + 0.05 * (at - DUSK) / HOUR
    night.run(240)
    word = reports.evening_word(night.engine.view, night.now)
    assert [(one.name, one.condition) for one in word.leaving] == [("Tank 3", "warm")]
    assert night.now < word.leaving[0].when < moment("2026-02-02T06:00")


def test_a_tank_that_rests_is_not_named() -> None:
    night = mashing()
    night.run(240)
    assert reports.evening_word(night.engine.view, night.now).leaving == ()


@pytest.mark.parametrize(("soonest", "named"), [(12.0, True), (12.1, False)])
def test_the_tank_that_leaves_first_is_named_when_it_would_by_the_morning(
    soonest: float, named: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """If a chiller stops; what a heater keeps does not grow warm when that fails."""
    left = Hours(
        soonest=soonest, latest=20.0, limit_soonest=20.0, limit_latest=30.0,
        rests_on="own warm-ups", slow=0.02, fast=0.05,
    )  # fmt: skip
    monkeypatch.setattr(reports, "first_to_leave", lambda *_: ("tank-3", left))
    word = reports.evening_word(mashing().engine.view, DUSK)
    said = [(one.cooler, one.name, one.soonest) for one in word.first]
    assert said == ([("Chiller 1", "Tank 3", 12.0), ("Chiller 2", "Tank 3", 12.0)] if named else [])


def test_the_evening_word_says_who_is_there_and_who_will_be_woken() -> None:
    by_day = Duty(role="brewer", person="dai", order=0, hours=(8 * HOUR, 18 * HOUR))
    night = Night(brewery(AWAKE, by_day), at=moment("2026-02-01T20:30"))
    word = reports.evening_word(night.engine.view, night.now)
    assert word.here == ("Cho",) and word.woken == ("Aki", "Bun")


# -------------------------------------------------------------------------------------- the morning


def test_the_morning_report_tells_the_night_of_each_tank() -> None:
    night = mashing()
    night.run(60).told["t3-mid"] = 10.7
    night.run(90).told["t3-mid"] = 10.0
    night.run(60)
    three, four = morning(night).nights
    assert (three.name, four.name) == ("Tank 3", "Tank 4")
    assert three.lowest is not None and three.highest is not None
    assert (round(three.lowest, 1), round(three.highest, 1)) == (10.0, 10.7)
    assert abs(three.outside - 90 * MINUTE) <= 2 * MINUTE and four.outside == 0


def pulled(logged: bool) -> Night:
    """Tank 3 rests at 10 °C in a cellar of 16; its probe is out of the mash for 44 minutes."""
    night = mashing()
    night.told["c-air"] = 16.0
    night.run(60)
    if logged:
        night.log("t3-mid", "probe-out", by="aki")
    night.told["t3-mid"] = 16.0
    night.run(44)
    night.told["t3-mid"] = 10.0
    if logged:
        night.log("t3-mid", "probe-in", by="aki")
    night.run(60)
    return night


@pytest.mark.parametrize("logged", [False, True])
def test_what_a_pulled_probe_told_is_no_part_of_the_night(logged: bool) -> None:
    """Whether somebody logged that it was out or the watch saw that it read the room."""
    night = pulled(logged)
    told = morning(night).nights[0]
    assert told.outside == 0.0 and told.highest is not None and told.highest < 10.1
    still = mashing()
    still.told["t3-mid"] = 10.7
    still.run(60)
    assert morning(still).nights[0].outside > 0


def test_a_probe_that_is_still_out_in_the_morning_measured_the_night_before_it() -> None:
    night = mashing()
    night.told["c-air"] = 16.0
    night.run(120).told["t3-mid"] = 16.0
    night.run(120)
    told = morning(night).nights[0]
    assert told.outside == 0.0 and told.highest is not None and told.highest < 10.1


def test_a_tank_that_nothing_measured_says_so() -> None:
    night = mashing()
    del night.told["t3-mid"]
    night.run(30)
    three = morning(night).nights[0]
    assert (three.name, three.lowest, three.outside) == ("Tank 3", None, 0.0)


def test_the_days_aims_are_told_of_each_mash() -> None:
    """What the plan says now and by tomorrow; koji beds have their works instead."""
    night = mashing(at=moment("2026-02-02T06:00"))
    night.log("tank-3", "aim", celsius=9.0, by=moment("2026-02-03T06:00"))
    night.log("bed-1", "batch-start", batch="K", course="koji")
    told = [(aim.name, round(aim.now, 1), round(aim.then, 1)) for aim in morning(night).aims]
    assert told == [("Tank 3", 10.0, 9.0), ("Tank 4", 10.0, 10.0)]


def test_each_ring_of_the_night_is_asked_about() -> None:
    night = mashing(at=moment("2026-02-02T01:00"))
    night.told["t3-mid"] = 11.5
    night.run(5 * 60)
    report = night.messages("notice")[-1]
    assert report.at == moment("2026-02-02T06:00")
    assert [alarm for alarm, _ in report.asks] == ["tank-3/far-warm"]
    assert report.asks[0][1].endswith("Tank 3 past the limit, warm") and not report.alarms


def test_each_ring_is_told_with_who_answered_when() -> None:
    bell = Bell(at=moment("2026-02-02T01:00"))
    bell.find("tank-3", "warm")
    bell.on(11).log("tank-3", "acknowledge", by="aki")
    bell.find("bed-1", "cold")
    bell.on(30)
    rings = morning(bell).rings
    assert [(ring.name, ring.condition, ring.who) for ring in rings] == [
        ("Tank 3", "warm", "Aki"), ("Koji bed 1", "cold", None),
    ]  # fmt: skip
    assert rings[0].answered == rings[0].at + 11 * MINUTE


def test_a_ring_that_was_answered_after_it_returned_was_answered() -> None:
    bell = Bell(at=moment("2026-02-02T01:00"))
    bell.find("tank-3", "warm")
    bell.on(5).over("tank-3", "warm")
    bell.on(5).log("tank-3", "acknowledge", by="aki")
    assert [(ring.who, ring.answered) for ring in morning(bell).rings] == [("Aki", bell.now)]


def test_a_ring_that_rang_again_was_answered_when_it_was_first_answered() -> None:
    bell = Bell(at=moment("2026-02-02T01:00"))
    bell.find("tank-3", "warm")
    bell.on(5).log("tank-3", "acknowledge", by="aki")
    first = bell.now
    bell.on(180).log("tank-3", "acknowledge", by="bun")
    assert [(ring.who, ring.answered) for ring in morning(bell).rings] == [("Aki", first)]


def test_what_waited_is_told_while_it_stands() -> None:
    bell = Bell(at=moment("2026-02-02T01:00"))
    bell.find("bed-1", "humid")
    bell.find("t3-mid", "silent")
    bell.on(5).over("t3-mid", "silent")
    assert [(one.subject, one.condition) for one in morning(bell).waited] == [
        ("bed-1", "humid"), ("t3-mid", "silent"),
    ], "returned and not yet seen is still on the list"  # fmt: skip
    bell.log("t3-mid", "acknowledge", by="ken")
    assert [one.subject for one in morning(bell).waited] == ["bed-1"]


def test_probes_to_look_at_are_named() -> None:
    bell = Bell(at=moment("2026-02-02T01:00"))
    bell.find("t3-mid", "wild")
    bell.find("t4-mid", "stuck")
    bell.over("t4-mid", "stuck")
    assert morning(bell).probes == (("Tank 3 (t3-mid)", "wild"),)


def test_the_stages_that_are_due_today_are_named() -> None:
    night = Night(at=moment("2026-02-02T06:00"))
    night.log("tank-3", "batch-start", batch="3", course="mash", since=night.now - 20 * HOUR)
    night.log("tank-4", "batch-start", batch="4", course="mash", stage="main")
    assert [(one.name, one.stage) for one in morning(night).due] == [("Tank 3", {"en": "tome"})]


def test_the_report_comes_when_the_brewery_day_turns() -> None:
    night = mashing(at=moment("2026-02-02T05:00"))
    night.run(59)
    assert not night.messages("notice")
    night.run(1)
    assert [word.person for word in night.messages("notice")] == ["aki"]


def test_yesterdays_rings_are_not_told_again() -> None:
    """The night of the report begins with the evening word."""
    bell = Bell(at=moment("2026-02-01T19:00"))
    bell.find("tank-3", "warm")
    bell.on(5).log("tank-3", "acknowledge", by="aki")
    bell.over("tank-3", "warm")
    bell.on(11 * 60)
    report = [word for word in bell.messages("notice") if word.at == moment("2026-02-02T06:00")]
    assert len(report) == 1 and "19:00" not in report[0].text


def test_a_tank_that_leaves_only_after_the_morning_is_not_named() -> None:
    """0.1 above plan and rising by a fiftieth of a degree an hour: twenty hours."""
    night = mashing()
    night.told["t3-mid"] = lambda at: 10.02 + 0.02 * (at - DUSK) / HOUR
    night.run(240)
    assert reports.evening_word(night.engine.view, night.now).leaving == ()


def test_a_tank_that_cools_out_of_its_band_is_named_as_cold() -> None:
    night = mashing()
    night.told["t3-mid"] = lambda at: 9.9 - 0.05 * (at - DUSK) / HOUR
    night.run(240)
    word = reports.evening_word(night.engine.view, night.now)
    assert [(one.name, one.condition) for one in word.leaving] == [("Tank 3", "cold")]


def test_a_handover_note_is_of_this_night() -> None:
    """Of the house as a whole, the latest, and not from the day before or taken back."""
    night = Night(at=moment("2026-02-01T10:00"))
    night.log("watch", "note", text="too old")
    night.wake(moment("2026-02-01T22:00"))
    night.log("tank-3", "note", text="of a tank")
    night.log("watch", "note", text="valve of tank 4 sticks")
    gone = night.log("watch", "note", text="said by mistake")
    night.log("watch", "take-back", of=gone)
    night.wake(moment("2026-02-02T06:00"))
    assert morning(night).note == "valve of tank 4 sticks"
    night.wake(moment("2026-02-02T17:00"))
    assert morning(night).note is None


def test_what_was_done_at_a_cooler_is_in_the_morning_report() -> None:
    """With whoever noted it; of this night alone."""
    night = Night(at=moment("2026-02-01T10:00"))
    night.log("chiller-1", "note", text="too old")
    night.wake(moment("2026-02-02T03:00"))
    night.log("chiller-1", "note", text="Breaker reset", by="ken")
    night.wake(moment("2026-02-02T06:00"))
    assert morning(night).done == (("Chiller 1", "Breaker reset", "Ken"),)


def test_a_gap_between_readings_counts_as_ten_minutes_outside_at_most() -> None:
    night = mashing()
    night.run(60).told["t3-mid"] = 10.8
    night.run(10).told["t3-mid"] = None
    night.run(120).told["t3-mid"] = 10.8
    night.run(10)
    outside = morning(night).nights[0].outside
    assert 25 * MINUTE <= outside <= 31 * MINUTE


def test_an_old_ice_point_is_one_of_more_than_a_year() -> None:
    house = brewery()
    dates = ("2025-01-31", "2025-02-02", None, None, None)
    probes = tuple(
        msgspec.structs.replace(probe, calibrated=day)
        for probe, day in zip(house.probes, dates, strict=True)
    )
    found = reports.old_ice_points(msgspec.structs.replace(house, probes=probes), DUSK)
    assert found == ("Tank 3 (t3-mid)",)


def test_the_evening_has_a_word_on_sundays_and_while_anything_is_judged() -> None:
    idle = Night(brewery())
    idle.log("store", "out-of-service")
    view = idle.engine.view
    assert not reports.anything_judged(view, DUSK) and reports.anything_judged(
        mashing().engine.view, DUSK
    )
    assert reports.evening_due(view, DUSK) and not reports.evening_due(view, DUSK + DAY)
    assert reports.evening_due(mashing().engine.view, DUSK + DAY)


def test_a_month_begins_on_its_first_evening() -> None:
    assert reports.month_begins(brewery(), moment("2026-02-01T20:30"))
    assert not reports.month_begins(brewery(), moment("2026-02-02T20:30"))
    assert not reports.month_begins(brewery(), moment("2026-01-31T23:59"))


def test_a_note_of_the_last_eighteen_hours_is_handed_over() -> None:
    night = Night(at=moment("2026-02-01T12:00"))
    night.log("watch", "note", text="valve of tank 4 sticks")
    night.wake(moment("2026-02-02T06:00"))
    assert morning(night).note == "valve of tank 4 sticks"
    night.wake(moment("2026-02-02T06:01"))
    assert morning(night).note is None


def test_an_ice_point_of_a_year_ago_to_the_day_is_not_old() -> None:
    house = brewery()
    for day, old in (
        ("2025-02-01", False),
        ("2025-01-31", True),
        ("2025-01-31T08:00:00+09:00", True),
    ):
        checked = msgspec.structs.replace(house.probes[0], calibrated=day)
        found = reports.old_ice_points(
            msgspec.structs.replace(house, probes=(checked, *house.probes[1:])), DUSK
        )
        assert bool(found) is old


def test_a_probe_that_hangs_dry_judges_nothing() -> None:
    night = mashing().run(30)
    (probe,) = night.engine.view.places["tank-3"].products
    probe.suspect = frozenset({"hangs-dry"})  # type: ignore[misc]
    assert reports.why_not_judged(night.engine.view, "tank-3", night.now) == "hangs-dry"
    assert morning(night).nights[0].lowest is None, "nothing of the night was its product"


def test_a_ring_that_can_wait_is_not_asked_about() -> None:
    bell = brewing(Bell(at=moment("2026-02-02T10:00")))
    bell.find("tank-3", "stage-overdue")
    assert bell.pages() and morning(bell).rings == ()


def test_a_stage_is_due_until_the_day_turns() -> None:
    """A day of naka: begun an hour ago it is over after that. What is overdue is due now."""
    for hours, due in ((0, False), (1, True), (30, True)):
        night = Night(at=moment("2026-02-02T06:00"))
        night.log("tank-3", "batch-start", batch="3", course="mash", since=night.now - hours * HOUR)
        found = morning(night).due
        assert bool(found) is due
        if due:
            assert found[0][2] == night.now + max(24 - hours, 0) * HOUR


def test_the_aim_of_a_batch_that_ends_before_the_day_turns_is_none() -> None:
    night = Night(at=moment("2026-02-02T06:00"))
    for tank, days in (("tank-3", 4.5), ("tank-4", 3.5)):
        night.log(tank, "batch-start", batch=tank, course="mash", stage="last",
                  since=night.now - days * DAY)  # fmt: skip
    assert [aim.name for aim in morning(night).aims] == ["Tank 4"]
    assert morning(night).aims[0].by == moment("2026-02-03T06:00")


def test_the_morning_on_which_a_mash_is_to_be_pressed_says_so() -> None:
    """With the caution of that work; a starter has none, and of other stages only what scalds."""
    night = Night(at=moment("2026-02-02T06:00"))
    for tank, days in (("tank-3", 4.5), ("tank-4", 2.5)):
        night.log(tank, "batch-start", batch=tank, course="mash", stage="last",
                  since=night.now - days * DAY)  # fmt: skip
    assert [(one.name, one.stage, one.caution) for one in morning(night).due] == [
        ("Tank 3", None, "press")
    ]


def test_of_several_probes_the_believed_ones_alone_made_the_product() -> None:
    """One that was taken out hides nothing of what the other measured."""
    house = brewery()
    twin = msgspec.structs.replace(house.probes[0], id="t3-low")
    night = mashing(msgspec.structs.replace(house, probes=(*house.probes, twin)))
    night.log("t3-mid", "probe-out")
    night.run(10)
    view, alarms = night.engine.view, night.engine.alarm_manager
    assert reports.doubts_of(view, alarms, "tank-3", night.now) == []


def test_a_taking_out_is_told_until_it_is_a_night_ago() -> None:
    """From the word on, until the filter of the probe that was put back holds no air any more."""
    night = mashing()
    out = night.now
    night.log("t3-mid", "probe-out")
    night.run(20).log("t3-mid", "probe-in")
    over = night.now + 10 * MINUTE
    view, alarms = night.engine.view, night.engine.alarm_manager
    for later, told in ((-1, [(out, over)]), (0, [])):
        assert reports.doubts_of(view, alarms, "tank-3", over + reports.NIGHT + later) == told


def test_the_two_wildest_readings_of_four_hundred_are_none_of_the_night() -> None:
    """At either end; the third is its highest, and its lowest."""
    for wild, seen in ((2, 10.0), (3, 10.4)):
        night = mashing()
        odd = {DUSK + 60 * (100 + 20 * n): 10.4 if n % 2 else 9.6 for n in range(2 * wild)}
        night.told["t3-mid"] = lambda at, odd=odd: odd.get(at, 10.0)
        told = morning(night.run(410)).nights[0]
        assert (told.lowest, told.highest) == (pytest.approx(20.0 - seen), seen)
