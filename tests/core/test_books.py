"""What the books say of a place, a cooler or a probe."""

from __future__ import annotations

from tests.core.logged import OTHER, TANK, Books, at, started


def test_one_batch_may_run_in_several_places() -> None:
    books = started()
    books.tell(5, OTHER, "batch-start", batch="12", course="mash")
    assert books.runs(OTHER, 6).name == books.runs(TANK, 6).name


def test_another_cooler_serves_from_now_on() -> None:
    books = Books()
    assert books.served("chiller-1") == [TANK, OTHER] and books.cooler_of(TANK) == "chiller-1"
    books.tell(5, TANK, "served-by", cooler="chiller-2")
    assert (books.served("chiller-1"), books.served("chiller-2")) == ([OTHER], [TANK])
    assert books.cooler_of(TANK) == "chiller-2"


def test_a_heater_is_what_serves_a_koji_bed() -> None:
    assert Books().cooler_of("bed-1") == "heater-1" and Books().cooler_of("store") is None


def test_masks_that_overlap_are_one_stretch() -> None:
    books = started()
    books.tell(0, TANK, "addition", what="rice")
    books.tell(80, TANK, "stir")
    assert books.masked_until(5) == 110 and books.masked_until(100) == 110


def test_one_tanks_mask_is_not_anothers() -> None:
    books = started()
    books.tell(10, TANK, "stir")
    assert books.masked_until(11, OTHER) is None


def test_who_worked_at_the_product_is_remembered() -> None:
    books = started()
    books.tell(5, TANK, "stir", by="dai")
    books.tell(9, "t3-mid", "probe-out", by="ken")
    books.tell(12, TANK, "note", text="frost", by="aki")
    book = books.book(TANK)
    assert book.hands == [(at(5), "dai"), (at(9), "ken")]
    assert (book.last_stir, book.last_work) == (at(5), ("probe-out", at(9)))
