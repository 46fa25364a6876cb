"""What a batch's sheet is made of."""

from __future__ import annotations

from kuraban.core.views.batch_sheet import BatchStay, SheetDay


def test_stays_in_one_place_are_told_apart_by_their_beginning() -> None:
    """In whole seconds, as they stand in an address."""
    stay = BatchStay(
        place="tank-3", name="No. 21", title=None, course="slow", course_title={}, since=5.0,
        start=1768005000.4, end=None, stage="soe", stage_title={}, stage_since=5.0, day=1,
        hours=0.0,
    )  # fmt: skip
    assert stay.key == 1768005000


def test_the_sake_meter_value_is_baume_times_ten_with_the_sign_turned() -> None:
    """Nada Sake Research Group glossary, "SMV"; a day without a sample has neither."""
    assert SheetDay(at=0.0, number=1, place="tank-3", baume=2.6).smv == -26.0
    assert SheetDay(at=0.0, number=1, place="tank-3").smv is None
