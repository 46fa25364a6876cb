"""Swapped duties, calendars and New Year: who is told when the rota is not as it was written."""

from __future__ import annotations

import msgspec
import pytest

from kuraban.core import rota as roster
from kuraban.core.entries import kind_of
from kuraban.core.facts import Logged, Refusal
from kuraban.core.intake.entry_parser import entry_from
from kuraban.core.site import Away, Duty, House, Shift, Swap
from kuraban.core.units import DAY, HOUR, MINUTE
from tests.core.house import AWAKE, DUSK, Bell, brewery, moment

NIGHT = moment("2026-02-02T01:00")
NIGHTS = (
    Duty(role="brewer", person="aki", order=1, hours=(18 * HOUR, 6 * HOUR)),
    Duty(role="brewer", person="bun", order=1, hours=(6 * HOUR, 18 * HOUR)),
)


def first(house: House, when: str, role: str = "brewer") -> str:
    return roster.chain(house, role, moment(when))[0].person


def swapped(*swaps: Swap, rota: tuple[Duty, ...] = NIGHTS) -> House:
    return msgspec.structs.replace(brewery(rota=rota), swaps=swaps)


def away(house: House, *people: str, minutes: float = 40) -> House:
    stretch = moment("2026-01-31T00:00"), moment("2026-02-04T00:00")
    return msgspec.structs.replace(
        house,
        away=tuple(
            Away(person=one, start=stretch[0], end=stretch[1], arrive=minutes * MINUTE)
            for one in people
        ),
    )


# Swaps.


def test_a_swap_exchanges_what_begins_on_its_day() -> None:
    """The night of the first is Bun's until six, and the day before it is Aki's."""
    house = swapped(Swap(first="aki", second="bun", day="2026-02-01"))
    assert first(house, "2026-02-01T05:59") == "aki"  # still the night of 31 January
    assert first(house, "2026-02-01T06:00") == "aki"
    assert first(house, "2026-02-01T18:00") == "bun"
    assert first(house, "2026-02-02T05:59") == "bun"
    assert first(house, "2026-02-02T06:00") == "bun"  # Monday as it was


def test_a_line_without_hours_is_swapped_by_the_brewery_day() -> None:
    house = swapped(Swap(first="aki", second="bun", day="2026-02-01"), rota=brewery().rota)
    assert first(house, "2026-02-01T05:59") == "aki"
    assert first(house, "2026-02-01T06:00") == first(house, "2026-02-02T05:59") == "bun"
    assert first(house, "2026-02-02T06:00") == "aki"


def test_who_was_not_on_duty_takes_it_over() -> None:
    house = swapped(Swap(first="aki", second="dai", day="2026-02-01"))
    assert first(house, "2026-02-02T03:00") == "dai"


def test_a_swap_in_one_role_leaves_the_others() -> None:
    rota = (*NIGHTS, Duty(role="crew", person="aki", order=1))
    house = swapped(Swap(first="aki", second="bun", day="2026-02-01", role="brewer"), rota=rota)
    assert first(house, "2026-02-01T20:00") == "bun"
    assert first(house, "2026-02-01T20:00", "crew") == "aki"


def test_swapping_again_undoes_it() -> None:
    both = Swap(first="aki", second="bun", day="2026-02-01")
    back = Swap(first="bun", second="aki", day="2026-02-01")
    assert first(swapped(both, back), "2026-02-01T20:00") == "aki"


def test_a_shift_of_the_calendar_is_swapped_by_the_day_on_which_it_begins() -> None:
    shift = Shift(
        role="brewer", person="cho", order=1,
        start=moment("2026-02-01T20:00"), end=moment("2026-02-02T08:00"),
    )  # fmt: skip
    house = msgspec.structs.replace(brewery(rota=()), shifts=(shift,))
    assert first(house, "2026-02-02T03:00") == "cho"
    house = msgspec.structs.replace(
        house, swaps=(Swap(first="dai", second="cho", day="2026-02-01"),)
    )
    assert first(house, "2026-02-02T03:00") == "dai"
    assert not roster.holders(house, "brewer", moment("2026-02-02T08:00"))


def test_an_entered_swap_rings_the_other_and_taking_it_back_rings_the_first() -> None:
    """Through the same door as every entry, and over the nightly clearing of old ones."""
    for undone, rung in ((False, "bun"), (True, "aki")):
        bell = Bell(brewery(rota=NIGHTS), at=DUSK)
        swap = bell.log("watch", "duty-swap", **{"from": "aki"}, to="bun", day="2026-02-13")
        if undone:
            bell.log("watch", "take-back", of=swap)
        bell.wake(DUSK + 12 * DAY + 8 * HOUR)
        bell.find("tank-3", "warm")
        assert [person for _, person in bell.rings()] == [rung]


def test_a_swap_is_forgotten_when_its_day_is_over() -> None:
    bell = Bell(brewery(rota=NIGHTS), at=DUSK)
    bell.log("watch", "duty-swap", **{"from": "aki"}, to="bun", day="2026-02-02")
    bell.wake(DUSK + 12 * DAY)
    assert not any(kind_of(known.entry) == "duty-swap" for known in bell.engine.view.entry_log.log)


@pytest.mark.parametrize(
    ("fields", "wrong"),
    [
        ({"to": "bunn"}, "no person"),
        ({"to": "aki"}, "the same person"),
        ({"day": "2026-02-30"}, "no day"),
        ({"day": "2026-01-31"}, "is over"),
        ({"role": "toji"}, "no role"),
        ({"from": "cho", "to": "dai", "role": "brewer"}, "neither cho nor dai is on duty"),
        ({"day": "tomorrow"}, "no day"),
        ({"day": 20260203}, "send a text"),
    ],
)
def test_a_swap_that_cannot_be_is_refused(fields: dict[str, object], wrong: str) -> None:
    told = {"entry": "duty-swap", "from": "aki", "to": "bun", "day": "2026-02-03", **fields}
    refused = entry_from(told, "watch", brewery(rota=NIGHTS), DUSK, "page")
    assert isinstance(refused, Refusal) and wrong in refused.reason


def test_a_swap_is_about_the_watch() -> None:
    told = {"entry": "duty-swap", "from": "aki", "to": "bun", "day": "2026-02-03"}
    assert isinstance(entry_from(dict(told), "watch", brewery(), DUSK, "page"), Logged)
    assert isinstance(entry_from(dict(told), "tank-3", brewery(), DUSK, "page"), Refusal)


# Away.


def test_who_is_here_is_told_before_who_is_away() -> None:
    house = away(brewery(), "aki")
    assert [one.person for one in roster.chain(house, "brewer", NIGHT)] == ["bun", "aki"]
    assert roster.head_start(house, "brewer", NIGHT) == 0.0


def test_while_all_are_away_it_is_told_earlier_by_the_shortest_way() -> None:
    house = away(brewery(), "aki", "bun")
    nearer = Away(person="bun", start=0.0, end=NIGHT + DAY, arrive=15 * MINUTE)
    house = msgspec.structs.replace(house, away=(house.away[0], nearer))
    assert roster.head_start(house, "brewer", NIGHT) == 15 * MINUTE
    assert roster.chain(house, "brewer", NIGHT)[0].person == "aki"  # the rota's order stays


def test_before_and_after_nobody_is_away() -> None:
    house = away(brewery(), "aki", "bun")
    assert roster.head_start(house, "brewer", moment("2026-01-30T23:59")) == 0.0
    assert roster.head_start(house, "brewer", moment("2026-02-04T00:00")) == 0.0


def test_who_is_away_does_not_work_awake() -> None:
    assert not roster.awake(away(brewery(AWAKE), "cho"), NIGHT)


def test_at_new_year_nothing_overdue_rings() -> None:
    """It waits for the morning report, while a tank that is warm still wakes somebody."""
    noon = moment("2026-02-02T12:00")
    bell = Bell(away(brewery(), "dai", "aki", "bun"), at=noon)
    bell.log("tank-3", "batch-start", batch="3", course="mash", stage="naka")
    bell.find("tank-3", "stage-overdue")
    bell.on(60)
    assert not bell.pages()
    bell.find("tank-3", "warm")
    assert [person for _, person in bell.rings()] == ["aki"]
    bell.wake(noon + 20 * HOUR)
    assert any("not logged" in word.body for word in bell.messages("notice", "aki"))


def test_somebody_of_the_crew_here_is_told_what_is_overdue() -> None:
    bell = Bell(away(brewery(), "aki", "bun"), at=moment("2026-02-02T12:00"))
    bell.find("tank-3", "stage-overdue")
    assert [page.person for page in bell.pages()] == ["dai"]
