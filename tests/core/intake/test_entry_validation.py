"""An entry is held against the house before it counts."""

from __future__ import annotations

from datetime import datetime

import msgspec
import pytest

from kuraban.core.entries import KINDS, read_entry
from kuraban.core.intake.entry_validation import SUBJECTS, check_entry, check_subject, no_subject
from kuraban.core.site import Duty, House, Shift
from kuraban.core.units import BOARD_EPOCH, HOUR
from tests.core.house import TOKYO
from tests.corpus import HOUSE, NOW

BATCH = {"entry": "batch-start", "batch": "No. 12", "course": "moromi-slow-33"}


def wrong(fields: object, subject: str = "tank-3") -> str:
    with pytest.raises(ValueError, match=r".+") as raised:
        check_entry(read_entry(fields), subject, HOUSE, NOW)
    return str(raised.value)


@pytest.mark.parametrize(
    ("name", "subject", "words"),
    [
        ("batch-start", "chiller-1", "a place that brews, and chiller-1 is a cooler"),
        ("batch-start", "koji-room", "a place that brews, and koji-room is a room"),
        ("stir", "t3-mid", "a place that brews, and t3-mid is a probe"),
        ("let-run", "heater-1", "a place, and heater-1 is a heater"),
        ("probe-out", "chiller-1", "a place or a probe, and chiller-1 is a cooler"),
        ("out-of-service", "watch", "watch is the watch itself"),
    ],
)
def test_an_entry_about_the_wrong_thing_is_told_so(name: str, subject: str, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        check_subject(name, subject, HOUSE)


@pytest.mark.parametrize(
    "subject", ["tank-3", "bed-1", "koji-room", "chiller-1", "t3-mid", "watch"]
)
def test_a_note_fits_anything(subject: str) -> None:
    check_subject("note", subject, HOUSE)


def test_a_brewing_place_takes_every_kind_of_entry() -> None:
    """But for a swap of duties, which is about the watch."""
    for name in KINDS:
        check_subject(name, "watch" if name == "duty-swap" else "tank-3", HOUSE)
    assert set(SUBJECTS) == set(KINDS)


def test_an_unknown_subject_is_answered_with_the_nearest() -> None:
    with pytest.raises(ValueError, match='no subject "tnk-3"; there are tank-3'):
        check_subject("stir", "tnk-3", HOUSE)
    assert no_subject("chiller-1", HOUSE, "probe").endswith("are c1-power, c1-run")


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({**BATCH, "course": "moromi-slow"}, "there are moromi-slow-33"),
        ({**BATCH, "course": "koji-box-48"}, "is for koji-bed, and tank-3 is a tank"),
        ({**BATCH, "stage": "soee"}, "moromi-slow-33 has no stage .*; its stages are soe"),
        ({**BATCH, "since": NOW + 7200}, "since lies ahead"),
        ({"entry": "stage", "stage": "soe", "since": 5}, "before 2020"),
        ({"entry": "aim", "celsius": 9, "by": NOW - 1}, "by lies before"),
        ({"entry": "plan", "points": [[NOW + 9, 9], [NOW + 9, 8]]}, "not in order"),
        ({"entry": "plan", "points": [[NOW - 9, 9]]}, "end before"),
        ({"entry": "let-run", "for": "13h", "more": 1}, "13h is too long; at most 12h"),
        ({"entry": "shelve", "condition": "warm", "for": "2d"}, "2d is too long; at most 12h"),
        ({"entry": "shelve", "condition": "wram", "for": "2h"}, "there are warm"),
        ({"entry": "acknowledge", "condition": "stopped"}, "a place has no condition"),
        ({"entry": "move", "to": "tank-3"}, "no other place"),
        ({"entry": "merge", "into": "koji-room"}, "no other place"),
        ({"entry": "split", "to": ["tank-3", "tank-9"]}, "there are tank-4"),
        ({"entry": "split", "to": ["tank-4", "tank-4"]}, "names a place twice"),
        ({"entry": "served-by", "cooler": "chiller-2"}, "there are chiller-1"),
    ],
)
def test_what_is_not_there_is_answered_with_what_is(fields: object, words: str) -> None:
    import re

    assert re.search(words, wrong(fields))


def test_of_a_split_a_part_may_stay_where_it_is() -> None:
    check_entry(read_entry({"entry": "split", "to": ["tank-3", "tank-4"]}), "tank-3", HOUSE, NOW)


def test_twelve_hours_of_quiet_are_allowed() -> None:
    check_entry(read_entry({"entry": "let-run", "for": "12h", "more": 1}), "tank-3", HOUSE, NOW)


def fits(fields: object, subject: str = "tank-3", house: House = HOUSE, at: float = NOW) -> None:
    check_entry(read_entry(fields), subject, house, at)


def test_a_stage_may_have_begun_as_far_ahead_as_a_clock_may_be() -> None:
    for since, right in ((NOW + 300, True), (NOW + 301, False), (BOARD_EPOCH, True)):
        entry = {"entry": "stage", "stage": "soe", "since": since}
        if right:
            fits(entry)
        else:
            assert "lies ahead" in wrong(entry)
    assert "before 2020" in wrong({"entry": "stage", "stage": "soe", "since": BOARD_EPOCH - 1})


def test_an_aim_and_a_plan_lead_beyond_the_entry_itself() -> None:
    """What ends at this very moment leads nowhere."""
    assert "by lies before" in wrong({"entry": "aim", "celsius": 9, "by": NOW})
    fits({"entry": "aim", "celsius": 9, "by": NOW + 1})
    assert "points end before" in wrong({"entry": "plan", "points": [[NOW - 9, 9], [NOW, 9]]})
    fits({"entry": "plan", "points": [[NOW - 9, 9], [NOW + 1, 9]]})


def test_a_probe_that_is_none_is_answered_with_what_hangs_there() -> None:
    assert no_subject("t3-mid", HOUSE, "probe").startswith("probe t3-mid speaks on its own topic")
    assert no_subject("tank-3", HOUSE, "probe").startswith("tank-3 is no probe; the probes on it")
    assert no_subject("t3-mdi", HOUSE, "probe").startswith('there is no probe "t3-mdi"; there are ')


def rostered() -> House:
    """Aki brews on Sundays; Bun is of maintenance tonight by the calendar."""
    tonight = Shift(role="maintenance", person="bun", order=1, start=NOW, end=NOW + 6 * HOUR)
    sundays = Duty(role="brewer", person="aki", order=1, days=("sun",))
    return msgspec.structs.replace(HOUSE, rota=(sundays,), shifts=(tonight,))


def swap(day: str, **other: str) -> dict[str, str]:
    return {"entry": "duty-swap", "from": "aki", "to": "bun", "day": day, **other}


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        (swap("2026-02-08", to="cho"), 'there is no person "cho"; there are'),
        (swap("2026-02-08", to="aki"), "from and to are the same person"),
        (swap("2026-02-30"), '"2026-02-30" is no day'),
        (swap("2025-02-02"), "2025-02-02 is over; only duties to come"),
        (swap("2026-02-08", role="cook"), 'no role "cook"; there are brewer, maintenance'),
        (swap("2026-02-10"), "neither aki nor bun is on duty on 2026-02-10"),
        (swap("2026-02-08", role="maintenance"), "on duty as maintenance on 2026-02-08"),
    ],
)
def test_a_swap_of_duties_names_who_has_one_and_when(fields: object, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        fits(fields, "watch", rostered())


def test_a_swap_is_of_a_duty_of_either_in_one_role_or_in_any() -> None:
    for fields in (swap("2026-02-08"), swap("2026-02-08", role="brewer")):
        fits(fields, "watch", rostered())
    turned = {"entry": "duty-swap", "from": "bun", "to": "aki", "day": "2026-02-08"}
    fits(turned, "watch", rostered())


def test_todays_duties_can_be_swapped_and_yesterdays_are_over() -> None:
    """The day is the brewery's: before six in the morning it is still yesterday."""
    always = msgspec.structs.replace(HOUSE, rota=(Duty(role="brewer", person="aki", order=1),))
    night, day = (datetime(2026, 2, 2, hour, tzinfo=TOKYO).timestamp() for hour in (5, 7))
    fits(swap("2026-02-01"), "watch", always, night)
    with pytest.raises(ValueError, match="is over"):
        fits(swap("2026-02-01"), "watch", always, day)
    fits(swap("2026-02-02"), "watch", always, day)


@pytest.mark.parametrize(
    ("subject", "right", "elsewhere"),
    [
        ("tank-3", "warm", "silent"),
        ("chiller-1", "stopped", "warm"),
        ("t3-mid", "silent", "stopped"),
        ("watch", "dark", "silent"),
    ],
)
def test_each_thing_has_conditions_of_its_own(subject: str, right: str, elsewhere: str) -> None:
    for name in ("acknowledge", "unshelve"):
        fits({"entry": name, "condition": right}, subject)
        assert "has no condition" in wrong({"entry": name, "condition": elsewhere}, subject)
    fits({"entry": "acknowledge"}, subject)


def test_twelve_hours_on_the_shelf_are_allowed() -> None:
    fits({"entry": "shelve", "condition": "warm", "for": "12h"})
    over = {"entry": "shelve", "condition": "warm", "for": "721m"}
    assert "at most 12h" in wrong(over)


def test_what_is_right_is_taken() -> None:
    """A start with a stage of its course, a move and a merge elsewhere, another cooler."""
    fits({**BATCH, "stage": "odori", "since": NOW - 60})
    fits({"entry": "move", "to": "tank-4"})
    fits({"entry": "merge", "into": "tank-4"})
    fits({"entry": "served-by", "cooler": "chiller-1"})
    fits({"entry": "stir"})


@pytest.mark.parametrize("name", ["probe-out", "probe-in"])
def test_a_probe_is_taken_out_by_its_own_name_or_its_places(name: str) -> None:
    check_subject(name, "t3-mid", HOUSE)
    check_subject(name, "tank-3", HOUSE)


def test_a_place_a_cooler_and_a_probe_go_out_of_service_and_the_watch_does_not() -> None:
    for subject in ("tank-3", "chiller-1", "t3-mid", "koji-room"):
        check_subject("out-of-service", subject, HOUSE)
    check_subject("let-run", "koji-room", HOUSE)
    for name, subject in (("duty-swap", "tank-3"), ("let-run", "watch"), ("probe-in", "watch")):
        with pytest.raises(ValueError, match="is about"):
            check_subject(name, subject, HOUSE)
