"""The course's next stage was due four hours ago and nobody logged it."""

from __future__ import annotations

from tests.core.detectors.kit import EVENING, Night, cellar, noisy, stage

NOON = EVENING + 12 * 3600
AIR = 6.0
ALARM = "tank/stage-overdue"


def tank(ends: str = "crew", hours: float = 2) -> Night:
    night = Night(cellar(stages=(stage("odori", hours=hours, ends=ends), stage("naka"))),
                  start=NOON)  # fmt: skip
    night.batch(since=0)
    return night


def test_four_hours_after_the_next_stage_was_due_the_crew_is_asked() -> None:
    night = tank().play(500, mid=noisy(10.0), air=AIR)
    assert night.raised(ALARM) == [120 + 240]
    assert [page.role for page in night.pages(ALARM)] == ["crew"]
    assert night.evidence(ALARM) == ("stage=naka",)


def test_logging_the_stage_ends_it() -> None:
    night = tank().play(400, mid=noisy(10.0), air=AIR)
    night.log("tank", "stage", stage="naka", by="mio")
    assert not night.stands(ALARM)
    assert not night.play(2000, mid=noisy(10.0), air=AIR).stands(ALARM)


def test_a_second_rest_day_is_not_overdue() -> None:
    """A hold says how much longer the stage is meant to be."""
    night = tank().play(60, mid=noisy(10.0), air=AIR)
    night.log("tank", "hold", within="24h")
    assert not night.play(20 * 60, mid=noisy(10.0), air=AIR).alarms()
    night.play(120 + 24 * 60 + 240 + 5, mid=noisy(10.0), air=AIR)
    assert night.raised(ALARM) == [120 + 24 * 60 + 240]


def test_a_hold_after_the_asking_answers_it() -> None:
    night = tank().play(400, mid=noisy(10.0), air=AIR)
    night.log("tank", "hold", within="24h")
    assert not night.stands(ALARM)


def test_a_stage_that_ends_by_the_clock_is_never_overdue() -> None:
    night = tank(ends="clock").play(600, mid=noisy(10.0), air=AIR)
    assert not night.alarms()


def test_after_the_last_stage_nothing_is_overdue() -> None:
    night = Night(cellar(stages=(stage(hours=2),)), start=NOON)
    night.batch(since=0)
    assert not night.play(600, mid=noisy(10.0), air=AIR).alarms()


def test_a_batch_taken_over_late_is_asked_about_when_it_becomes_known() -> None:
    """Begun twelve hours before anybody told the watch: asked about now, not in the past."""
    night = Night(cellar(stages=(stage("odori", hours=2), stage("naka"))), start=NOON)
    night.play(30, mid=noisy(10.0), air=AIR)
    night.batch(since=-720)
    assert night.raised(ALARM) == [30]


def test_the_end_of_the_batch_is_an_answer() -> None:
    night = tank().play(400, mid=noisy(10.0), air=AIR)
    night.log("tank", "batch-end")
    assert not night.stands(ALARM)


def test_what_it_answers_before_and_after_it_is_due() -> None:
    """Due at 120, asked about at 360; once logged there is no further stage to wait for."""
    night = tank().play(60, mid=10.0, air=AIR)
    due = "seen: next-stage since=120 word=naka title={}"
    assert night.why(ALARM) == [due, "lacks: due until=360"]
    night.play(359, mid=10.0, air=AIR)
    assert night.why(ALARM) == [due, "lacks: due until=360"]
    night.play(360, mid=10.0, air=AIR)
    asked = ["stands", due, "ends: over-logged word=naka title={}"]
    assert night.why(ALARM) == asked
    alarm = night.engine.alarm_manager.alarm("tank", "stage-overdue")
    assert alarm.since == night.start + 120 * 60
    night.log("tank", "stage", stage="naka")
    assert night.why(ALARM) == ["lacks: no-stage"]
    night.log("tank", "out-of-service", reason="cleaned")
    assert night.why(ALARM) == []


def test_one_that_ends_by_the_clock_waits_for_no_word() -> None:
    night = tank(ends="clock")
    assert night.why(ALARM) == ["lacks: no-stage"]
    night.log("tank", "batch-end")
    assert night.why(ALARM) == []


def test_a_last_stage_that_is_long_over_answers_that_none_follows() -> None:
    night = Night(cellar(stages=(stage(hours=2),)), start=NOON)
    night.batch(since=0)
    assert night.play(600, mid=10.0, air=AIR).why(ALARM) == ["lacks: no-stage"]


def test_taken_over_within_an_hour_of_its_time_it_is_asked_about_as_of_then() -> None:
    """Due four hours ago and half an hour: named by that moment; an hour and more: by now."""
    for begun, told in ((-361, -1), (-400, -40), (-419, -59), (-421, 0)):
        night = Night(cellar(stages=(stage("odori", hours=2), stage("naka"))), start=NOON)
        night.batch(since=begun)
        assert night.raised(ALARM) == [told]


def test_where_a_stage_by_the_clock_is_followed_by_one_of_the_crew_that_one_is_asked_for() -> None:
    stages = (stage("a", hours=1, ends="clock"), stage("b", hours=2), stage("c"))
    night = Night(cellar(stages=stages), start=NOON)
    night.batch(since=0)
    night.play(450, mid=10.0, air=AIR)
    assert night.raised(ALARM) == [180 + 240]
    assert night.evidence(ALARM) == ("stage=c",)


def test_the_last_stage_of_a_lot_ends_by_the_clock_and_the_watch_goes_on() -> None:
    """Koji that was told to be out: an hour later the lot is over, and nothing looks for ever."""
    stages = (stage("saiko", hours=2), stage("de-koji", hours=1, ends="clock"))
    night = Night(cellar(stages=stages), start=NOON)
    night.batch(since=0)
    night.play(60, mid=noisy(10.0), air=AIR)
    night.log("tank", "stage", stage="de-koji", by="mio")
    assert not night.play(200, mid=noisy(10.0), air=AIR).alarms()
