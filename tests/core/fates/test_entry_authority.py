"""Who may make which entry alone: every cell of the table, each tried on a house at night."""

from __future__ import annotations

import msgspec
import pytest

from kuraban.core.fates.entry_authority import (
    MANAGES,
    TABLE,
    Maker,
    Touch,
    alone,
    maker_of,
    on_pages,
    printed,
    printed_roles,
)
from kuraban.core.site import Shift
from tests.core.house import Night, brewery, mashing

ALONE, SECOND = "alone", "second"
CELLS = {
    #                           the brewer  else    nobody named
    Touch.NOTHING:             (ALONE, ALONE, ALONE),
    Touch.OUT_OF_SERVICE:      (ALONE, SECOND, ALONE),
    Touch.ENDS_EARLY:          (ALONE, SECOND, ALONE),
    Touch.STAGE_OUT_OF_TURN:   (ALONE, SECOND, ALONE),
    Touch.UNDOES_START:        (ALONE, SECOND, SECOND),
    Touch.LONG_SHELF:          (ALONE, SECOND, ALONE),
    Touch.LETS_RUN_FAR:        (ALONE, SECOND, ALONE),
    Touch.PLANS_FAR:           (ALONE, SECOND, ALONE),
    Touch.LAST_PROBE:          (ALONE, SECOND, ALONE),
    Touch.BREWERS_DUTY:        (ALONE, SECOND, ALONE),
}  # fmt: skip
WHO = {Maker.BREWER: "aki", Maker.NAMED: "cho", Maker.NOBODY: None}
HOUR = 3600.0


def make(night: Night, touch: Touch, by: str | None) -> str:
    """One entry that does just this; its id."""
    who = {} if by is None else {"who": by}
    match touch:
        case Touch.NOTHING:
            return night.log("tank-3", "stir", **who)
        case Touch.OUT_OF_SERVICE:
            return night.log("tank-3", "out-of-service", **who)
        case Touch.ENDS_EARLY:
            return night.log("tank-3", "batch-end", **who)
        case Touch.STAGE_OUT_OF_TURN:
            return night.log("tank-3", "stage", stage="naka", **who)
        case Touch.UNDOES_START:
            return night.log("tank-3", "take-back", of="e1", **who)
        case Touch.LONG_SHELF:
            return night.log("tank-3", "shelve", condition="warm", for_="5h", **who)
        case Touch.LETS_RUN_FAR:
            return night.log("tank-3", "let-run", for_="2h", more=1.5, **who)
        case Touch.PLANS_FAR:
            by_then = night.now + 9 * HOUR
            return night.log("tank-3", "aim", celsius=14.0, by=by_then, **who)
        case Touch.LAST_PROBE:
            return night.log("t3-mid", "out-of-service", **who)
        case Touch.BREWERS_DUTY:
            swap = {"from": "aki", "to": "dai", "day": "2026-02-02"}
            return night.log("watch", "duty-swap", **swap, **who)


@pytest.mark.parametrize("maker", Maker, ids=lambda maker: maker.name)
@pytest.mark.parametrize("touch", Touch, ids=lambda touch: touch.name)
def test_each_cell_is_as_it_stands_here(touch: Touch, maker: Maker) -> None:
    """In the table, and in what becomes of such an entry."""
    wanted = CELLS[touch][list(Maker).index(maker)]
    assert alone(touch, maker) == (wanted == ALONE)
    night = mashing().run(15)
    entry = make(night, touch, WHO[maker])
    assert night.fates(entry)[-1] == ("counted" if wanted == ALONE else "waiting")


def test_the_table_leaves_nothing_out() -> None:
    assert list(TABLE) == list(Touch) and all(list(row) == list(Maker) for row in TABLE.values())


def test_the_table_can_be_printed() -> None:
    """A line for each thing, a word for each maker."""
    head, *lines = printed().splitlines()
    assert [maker.value in head for maker in Maker] == [True] * 3
    assert len(lines) == len(Touch)
    undoes = next(line for line in lines if line.startswith(Touch.UNDOES_START.value))
    assert undoes.split("  ")[-1] == "second person" and undoes.count("second person") == 2


def test_the_brewer_is_known_by_id_and_by_name() -> None:
    house = brewery()
    assert [maker_of(by, house) for by in ("aki", "Aki", "bun")] == [Maker.BREWER] * 3
    assert [maker_of(by, house) for by in ("cho", "ken", "a stranger")] == [Maker.NAMED] * 3
    assert maker_of(None, house) is Maker.NOBODY


def test_a_brewer_by_the_calendar_is_one() -> None:
    shift = Shift(role="brewer", person="dai", order=1, start=0.0, end=1.0)
    house = msgspec.structs.replace(brewery(), shifts=(shift,))
    assert maker_of("dai", house) is Maker.BREWER and maker_of("dai", brewery()) is Maker.NAMED


def test_who_manages_needs_nobody_else() -> None:
    """An account of the pages, though no duty of the rota is its own."""
    house = msgspec.structs.replace(brewery(), managers=("boss",))
    assert maker_of("boss", house) is Maker.BREWER and maker_of("boss", brewery()) is Maker.NAMED


def test_what_begins_ends_or_hides_a_batch_takes_an_account_that_manages() -> None:
    """Made outright, or as what another entry is amended to."""
    assert {on_pages({"entry": kind}) for kind in MANAGES} == {"manage"}
    assert on_pages({"entry": "amend", "of": "x", "fields": {"entry": "batch-end"}}) == "manage"
    for fields in ({"entry": "stir"}, {"entry": "amend", "fields": "batch-end"}, {"entry": []}, {}):
        assert on_pages(fields) == "log"
    assert all(kind in printed_roles() for kind in MANAGES)
