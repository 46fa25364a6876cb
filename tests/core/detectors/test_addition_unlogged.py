"""An addition that nobody logged: recognised, held and asked about, never told as cold."""

from __future__ import annotations

import msgspec
import pytest

from kuraban.core.planned_curve import Stage
from kuraban.core.site import Probe
from kuraban.core.units import HOUR
from tests.core.detectors.kit import AIR as AIR_PROBE
from tests.core.detectors.kit import (
    CELLAR,
    MID,
    TANK,
    Night,
    cellar,
    course,
    house,
    noisy,
    stage,
    step,
)

AIR = 6.0
ALARM = "tank/addition-unlogged"
NOT_TOLD = {"tank/cold", "tank/far-cold", "tank/overcooling", "tank/trending-cold",
            "mid/displaced", "tank/unwatched"}  # fmt: skip
ODORI = stage("odori", 13.5, hours=30)
NAKA = stage("naka", 9.5, hours=24, settle=3 * HOUR)


def tank(since: float = -600) -> Night:
    night = Night(cellar(stages=(ODORI, NAKA)))
    night.batch(since=since)
    return night.play(60, mid=noisy(13.5), air=AIR)


def poured(before: float, after: float, at: float, minutes: float = 6.0) -> object:
    return noisy(lambda m: before + (after - before) * min(max(m - at, 0.0) / minutes, 1.0))


def test_water_koji_that_nobody_logged_is_asked_about_and_nobody_hears_of_cold() -> None:
    night = tank().play(230, mid=poured(13.5, 9.6, 60), air=AIR)  # type: ignore[arg-type]
    (raised,) = night.raised(ALARM)
    assert 62 <= raised <= 80
    assert night.alarms() == {ALARM}
    assert "stage=naka" in night.evidence(ALARM)


def test_the_crew_is_asked() -> None:
    from_morning = Night(cellar(stages=(ODORI, NAKA)), start=tank().start + 10 * 3600)
    from_morning.batch()
    from_morning.play(60, mid=noisy(13.5), air=AIR)
    from_morning.play(120, mid=poured(13.5, 9.6, 60), air=AIR)  # type: ignore[arg-type]
    assert [page.role for page in from_morning.pages(ALARM)] == ["crew"]


def test_after_three_hours_it_is_judged_as_it_stands() -> None:
    night = tank().play(300, mid=poured(13.5, 9.6, 60), air=AIR)  # type: ignore[arg-type]
    (raised,) = night.raised(ALARM)
    assert not night.stands(ALARM)
    assert {"tank/cold", "tank/far-cold"} & night.alarms()
    assert min(night.raised("tank/cold") + night.raised("tank/far-cold")) >= raised + 180


def test_a_late_log_puts_everything_right() -> None:
    """Logged two hours later, with its true time: the new stage's plan is the one in force."""
    night = tank().play(180, mid=poured(13.5, 9.6, 60), air=AIR)  # type: ignore[arg-type]
    night.log("tank", "stage", stage="naka", since=60, by="mio")
    night.play(700, mid=noisy(9.6), air=AIR)
    assert not night.stands(ALARM)
    assert not NOT_TOLD & night.alarms()


def test_one_that_was_logged_is_not_asked_about() -> None:
    night = tank()
    night.log("tank", "addition", what="water-koji", by="mio")
    night.play(150, mid=poured(13.5, 9.6, 61), air=AIR)  # type: ignore[arg-type]
    assert not night.alarms()


def test_a_stage_mark_alone_is_a_log() -> None:
    """The crew pressed the stage and poured: nothing else was written down."""
    night = tank()
    night.log("tank", "stage", stage="naka", by="mio")
    night.play(400, mid=poured(13.5, 9.6, 61), air=AIR)  # type: ignore[arg-type]
    assert not night.alarms()


def test_without_a_probe_in_the_air_it_is_an_addition_still_and_not_a_displaced_probe() -> None:
    night = Night(house(TANK, CELLAR, MID, courses=(course(ODORI, NAKA),)))
    night.batch()
    night.play(60, mid=noisy(13.5))
    night.play(230, mid=poured(13.5, 9.6, 60))  # type: ignore[arg-type]
    assert night.alarms() == {ALARM}


@pytest.mark.parametrize("after", [12.6, 5.0])
def test_a_fall_that_no_addition_makes_is_none(after: float) -> None:
    """Less than a degree and a half, or far below where the next stage begins."""
    night = tank().play(100, mid=poured(13.5, after, 60), air=AIR)  # type: ignore[arg-type]
    assert ALARM not in night.alarms()


@pytest.mark.parametrize(("begins", "asked"), [(9.2, True), (8.4, False)])
def test_it_lands_within_three_degrees_of_where_the_next_stage_begins(
    begins: float, asked: bool
) -> None:
    night = Night(cellar(stages=(ODORI, stage("naka", begins, hours=24))))
    night.batch()
    night.play(60, mid=noisy(13.5), air=AIR)
    night.play(120, mid=poured(13.5, 11.8, 60), air=AIR)  # type: ignore[arg-type]
    assert (ALARM in night.alarms()) is asked


def test_a_probe_that_fell_to_the_airs_temperature_is_not_asked_about_as_an_addition() -> None:
    night = tank().play(200, mid=poured(13.5, 8.0, 60), air=8.0)  # type: ignore[arg-type]
    assert ALARM not in night.alarms()
    assert "mid/displaced" in night.alarms()


def test_in_the_last_stage_nothing_is_added_unlogged() -> None:
    night = Night(cellar(stages=(stage(celsius=13.5),)))
    night.batch()
    night.play(60, mid=noisy(13.5), air=AIR)
    night.play(200, mid=poured(13.5, 9.6, 60), air=AIR)  # type: ignore[arg-type]
    assert ALARM not in night.alarms()


def test_one_wild_reading_is_no_fall() -> None:
    night = tank().play(200, mid=noisy(step(13.5, 9.5, 90, 91)), air=AIR)
    assert not night.alarms()


def test_logged_at_the_wrong_tank_it_says_so() -> None:
    """Tank 4's stage was pressed, tank 3's mash fell."""
    other = msgspec.structs.replace(TANK, id="four", name="Tank 4")
    home = cellar(other, Probe(id="mid4", of="four", measures="product"), stages=(ODORI, NAKA))
    night = Night(home)
    night.batch()
    night.batch("four")
    night.play(60, mid=noisy(13.5), mid4=noisy(13.4), air=AIR)
    night.log("four", "addition", what="water-koji", by="mio")
    night.play(120, mid=poured(13.5, 9.6, 60), mid4=noisy(13.4), air=AIR)  # type: ignore[arg-type]
    assert "swapped=Tank 4" in night.evidence(ALARM)


def test_a_tank_that_fell_after_its_own_addition_was_not_mixed_up() -> None:
    """Tank 4's addition was logged and is seen there; tank 3's was forgotten."""
    other = msgspec.structs.replace(TANK, id="four", name="Tank 4")
    home = cellar(other, Probe(id="mid4", of="four", measures="product"), stages=(ODORI, NAKA))
    night = Night(home)
    night.batch()
    night.batch("four")
    night.play(60, mid=noisy(13.5), mid4=noisy(13.4), air=AIR)
    night.log("four", "addition", what="water-koji", by="mio")
    night.play(120, mid=poured(13.5, 9.6, 60), mid4=poured(13.4, 11.4, 60), air=AIR)  # type: ignore[arg-type]
    assert night.alarms() == {ALARM} and "stage=naka" in night.evidence(ALARM)
    assert not [why for why in night.evidence(ALARM) if why.startswith("swapped")]


def test_when_the_batch_ends_the_question_does() -> None:
    night = tank().play(120, mid=poured(13.5, 9.6, 60), air=AIR)  # type: ignore[arg-type]
    night.log("tank", "batch-end")
    assert not night.stands(ALARM)


def test_a_late_entry_of_another_tank_does_not_end_the_hold() -> None:
    """The books are folded anew; what was seen and not logged still stands in them."""
    night = tank().play(75, mid=poured(13.5, 9.6, 60), air=AIR)  # type: ignore[arg-type]
    assert night.stands(ALARM)
    night.log("tank", "stir", at=20)
    night.play(200, mid=poured(13.5, 9.6, 60), air=AIR)  # type: ignore[arg-type]
    assert not night.alarms() & NOT_TOLD


def test_a_probe_that_speaks_every_ten_minutes_shows_it_too() -> None:
    slow = msgspec.structs.replace(MID, every=600.0)
    night = Night(house(TANK, CELLAR, slow, AIR_PROBE, courses=(course(ODORI, NAKA),)))
    night.batch()
    night.play(230, mid=poured(13.5, 9.6, 65), air=AIR)  # type: ignore[arg-type]
    (raised,) = night.raised(ALARM)
    assert raised <= 65 + 40


def test_a_fall_to_the_airs_own_temperature_is_an_addition_when_one_is_due() -> None:
    """It lands at 8.5, the cellar stands at 8.8: the crew is asked, nobody is told of a probe."""
    night = tank(since=-24 * 60).play(230, mid=poured(13.5, 8.5, 60), air=8.8)  # type: ignore[arg-type]
    assert ALARM in night.alarms()
    assert not night.alarms() & NOT_TOLD


# -------------------------------------------------------------------------------- what it answers


def test_what_it_answers_until_it_is_seen_and_until_it_is_over() -> None:
    night, pours = tank(), poured(13.5, 9.6, 60)
    assert night.why(ALARM) == ["lacks: not-fallen value=0 edge=1.5 unit=K"]
    night.play(66, mid=pours, air=AIR)  # type: ignore[arg-type]
    assert night.why(ALARM) == ["lacks: not-fallen value=0.625 edge=1.5 unit=K"]
    night.play(75, mid=pours, air=AIR)  # type: ignore[arg-type]
    assert night.why(ALARM) == ["stands", "ends: over-logged until=250"]
    assert night.raised(ALARM) == [70] and night.evidence(ALARM) == ("step=3.2", "stage=naka")
    alarm = night.engine.alarm_manager.alarm("tank", "addition-unlogged")
    assert (alarm.value, alarm.planned, alarm.since) == (10.25, 13.5, night.start + 70 * 60)
    (mask,) = [m for m in night.view.entry_log.of("tank").masks if m.why == "addition-seen"]
    assert [(m - night.start) / 60 for m in (mask.start, mask.end)] == [70 - 90, 70 + 180]
    night.play(260, mid=9.6, air=AIR)
    assert night.over(ALARM) == [250]
    assert night.why(ALARM) == ["lacks: not-fallen value=0 edge=1.5 unit=K"]
    night.log("tank", "batch-end")
    assert night.why(ALARM) == []


@pytest.mark.parametrize(("after", "air", "why"), [
    (12.6, AIR, "not-fallen value=0.875 edge=1.5 unit=K"),
    (5.0, AIR, "lands-elsewhere value=5 edge=9.5"),
    (8.0, 8.0, "is-air value=8"), (8.0, 9.0, None), (8.0, 8.9, "is-air value=8"),
])  # fmt: skip
def test_what_it_answers_of_a_fall_that_is_none(after: float, air: float, why: str | None) -> None:
    night = tank().play(62, mid=13.5, air=air)
    night.play(100, mid=poured(13.5, after, 60), air=air)  # type: ignore[arg-type]
    assert night.why(ALARM) == (
        [f"lacks: {why}"] if why else ["stands", "ends: over-logged until=255"]
    )


def test_what_it_answers_where_it_was_logged_or_somebody_is_at_it_or_nothing_is_heard() -> None:
    logged = tank()
    logged.log("tank", "addition", what="water-koji")
    assert logged.why(ALARM) == ["lacks: is-logged since=60 word=water-koji"]
    stirred = tank()
    stirred.log("tank", "stir")
    assert stirred.why(ALARM) == ["lacks: held until=90"]
    assert tank().play(170, air=AIR).why(ALARM) == ["lacks: not-known"]


@pytest.mark.parametrize("stages", [
    (stage(celsius=13.5),), (stage("odori", 13.5, hours=30), stage("naka", 12.1)),
])  # fmt: skip
def test_what_it_answers_where_no_addition_follows(stages: tuple[Stage, ...]) -> None:
    """In the last stage, and where the next begins no degree and a half lower."""
    night = Night(cellar(stages=stages))
    night.batch()
    night.play(60, mid=13.5, air=AIR).play(100, mid=11.0, air=AIR)
    assert night.why(ALARM) == ["lacks: no-filling"] and ALARM not in night.alarms()


def test_a_course_that_falls_by_itself_explains_as_much() -> None:
    """Its plan falls 0.8 K in the hour and a half; two degrees are no addition, 2.6 are."""
    falling = stage("odori", 14.3, hours=4, rate=-0.53)
    for after, told in ((11.5, False), (10.9, True)):
        night = Night(cellar(stages=(falling, stage("naka", 9.5, hours=24))))
        night.batch(since=-30)
        night.play(60, mid=13.5, air=AIR)
        night.play(90, mid=poured(13.5, after, 60), air=AIR)  # type: ignore[arg-type]
        assert (ALARM in night.alarms()) is told
