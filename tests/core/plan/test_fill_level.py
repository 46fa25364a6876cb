"""What is in a tank, by what people wrote down."""

from __future__ import annotations

import pytest

from kuraban.core import entries as e
from kuraban.core.plan.fill_level import litres_in, litres_of
from kuraban.core.site import Place
from tests.core.detectors.kit import MID, TANK, Night, course, house, stage

SECOND = Place(id="second", kind="tank", name="Tank 4", litres=1400)
COURSE = course(stage("soe", 12.0, hours=24), stage("naka", 10.0, hours=24), stage())


def night() -> Night:
    return Night(house(TANK, SECOND, MID, courses=(COURSE,)))


def litres(n: Night, place: str = "tank") -> float | None:
    return litres_in(n.view.entry_log, place, n.start + 60 * n.minute)


@pytest.mark.parametrize(
    ("addition", "filled"),
    [
        (e.Addition(what="rice", kg=100), 105.0),
        (e.Addition(what="water-koji", litres=300, kg=40), 342.0),
        (e.Addition(what="starter", kg=110), 100.0),
        (e.Addition(what="late-water", litres=40), 40.0),
        (e.Addition(what="ice", kg=20), 20.0),
        (e.Addition(what="yeast"), 0.0),
        (e.Addition(what="rice", celsius=10), None),
        (e.Addition(what="water-koji", kg=40), None),
    ],
)
def test_an_addition_fills_by_its_figures(addition: e.Addition, filled: float | None) -> None:
    """White rice, steamed or as koji, makes 1.05 L a kilogram: common practice, no source."""
    assert litres_of(addition) == (None if filled is None else pytest.approx(filled))


def test_a_tank_fills_as_its_additions_are_logged() -> None:
    n = night()
    n.batch(since=0)
    assert litres(n) is None
    n.log("tank", "addition", what="starter", litres=120)
    n.log("tank", "addition", what="water-koji", litres=300)
    n.log("tank", "addition", what="rice", kg=200)
    assert litres(n) == pytest.approx(630)


def test_an_addition_without_figures_makes_it_unknown() -> None:
    n = night()
    n.batch(since=0)
    n.log("tank", "addition", what="water-koji", litres=300)
    n.log("tank", "addition", what="rice")
    assert litres(n) is None


def test_a_batch_taken_over_in_the_middle_has_a_past_that_nobody_knows() -> None:
    n = night()
    n.batch(stage="naka", since=-2000)
    n.log("tank", "addition", what="water", litres=40)
    assert litres(n) is None


def test_mash_takes_its_litres_along() -> None:
    n = night()
    n.batch(since=0)
    n.log("tank", "addition", what="water-koji", litres=300)
    n.log("tank", "move", to="second")
    assert (litres(n), litres(n, "second")) == (None, pytest.approx(300))


def test_halves_of_a_split_mash_are_not_known() -> None:
    n = night()
    n.batch(since=0)
    n.log("tank", "addition", what="water-koji", litres=300)
    n.log("tank", "split", to=["tank", "second"])
    assert litres(n) is None and litres(n, "second") is None


def test_what_was_taken_back_never_went_in_and_what_was_amended_counts_as_amended() -> None:
    n = night()
    n.batch(since=0)
    n.log("tank", "addition", what="water-koji", litres=300)
    n.log("tank", "addition", what="water", litres=500)
    n.log("tank", "take-back", of="w3")
    n.log("tank", "amend", of="w2", litres=320)
    assert litres(n) == pytest.approx(320)
    assert "w3" not in {logged.id for logged in n.view.entry_log.counting()}


def test_an_emptied_tank_is_empty() -> None:
    n = night()
    n.batch(since=0)
    n.log("tank", "addition", what="water-koji", litres=300)
    n.play(5)
    n.log("tank", "batch-end")
    assert litres(n) is None


def test_a_merge_with_what_nobody_knows_is_unknown() -> None:
    """Whichever of the two it is; and two that are known are their sum."""
    for here, there, whole in ((300, 200, 500.0), (300, None, None), (None, 200, None)):
        n = night()
        for place, put_in in (("tank", here), ("second", there)):
            n.batch(place, since=0)
            figures = {} if put_in is None else {"litres": put_in}
            n.log(place, "addition", what="water-koji", **figures)
        n.log("tank", "merge", into="second")
        assert litres(n, "second") == whole
        assert litres(n, "tank") is None, "nothing counted is in it any more"


def test_a_batch_that_began_an_hour_before_it_was_logged_is_known_from_its_beginning() -> None:
    for minutes, known in ((60, 300.0), (61, None)):
        n = night()
        stages = [stage.id for stage in COURSE.stages]
        n.batch(since=-minutes, stage=stages[0])
        n.log("tank", "addition", what="water-koji", litres=300)
        assert litres(n) == known
