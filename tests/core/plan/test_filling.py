"""What an addition does to a mash: whether one is due or was logged, and where it lands."""

from __future__ import annotations

from kuraban.core.plan.filling import due, explains, landing, logged_lately
from kuraban.core.plan.subject_state import Batch
from tests.core.detectors.kit import Night, cellar, stage

ODORI, NAKA = stage("odori", 13.5, hours=24, ends="crew"), stage("naka", 7.5, hours=24, ends="crew")


def begun(hours_ago: float) -> tuple[Night, Batch]:
    night = Night(cellar(stages=(ODORI, NAKA)))
    night.batch(since=-60 * hours_ago)
    batch = night.view.batch("tank", night.engine.now)
    assert batch is not None
    return night, batch


def said(night: Night, value: float, at_air: bool = False) -> bool:
    now = night.engine.now
    return explains(
        night.view.batch("tank", now), night.view.entry_log.of("tank"), value, 13.5, at_air, now
    )


def test_the_next_filling_lands_where_its_stage_begins() -> None:
    night, batch = begun(10)
    assert landing(batch, night.engine.now) == 7.5


def test_it_is_due_within_six_hours_of_its_time() -> None:
    for hours, soon in ((17.9, False), (18, True)):
        night, batch = begun(hours)
        assert due(batch, night.engine.now) is soon


def test_one_that_is_due_explains_a_fall_to_about_there_and_no_other() -> None:
    night, _ = begun(23)
    assert said(night, 8.0) and said(night, 5.0)
    assert not said(night, 3.0) and not said(night, 15.0)
    assert said(night, 6.0, at_air=True) and not said(night, 4.9, at_air=True)
    early, _ = begun(10)
    assert not said(early, 8.0)


def test_one_that_was_logged_explains_ice_water_too_unless_the_air_is_as_cold() -> None:
    night, _ = begun(10)
    night.log("tank", "addition", what="water-koji")
    assert logged_lately(night.view.entry_log.of("tank"), night.engine.now)
    assert said(night, 3.0) and not said(night, 3.0, at_air=True)


def test_without_a_batch_nothing_is_explained() -> None:
    night = Night(cellar(stages=(ODORI, NAKA)))
    assert not said(night, 8.0)
