"""What one alarm says, sentence by sentence; the whole texts are in the wording snapshots."""

from __future__ import annotations

import tomllib
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from kuraban.core.texts.alarm_facts import Situation
from kuraban.core.texts.alarm_text import Alarm, known, pick
from kuraban.core.texts.translator import Speech, Words
from kuraban.core.units import HOUR

CATALOGUE = Path(__file__).parents[3] / "shared" / "words" / "en.toml"
WORDS = Words.from_tables({"en": tomllib.loads(CATALOGUE.read_text("utf-8"))})
SPEECH = Speech(WORDS, "en", ZoneInfo("Asia/Tokyo"), 1_769_880_000.0)


def told(condition: str = "warm", kind: str = "tank", /, **facts: object) -> Alarm:
    base: dict[str, object] = {"at": SPEECH.at, "subject": "t3", "name": "Tank 3", "kind": kind}
    return Alarm.of(Situation(condition=condition, **base, **facts), SPEECH)  # type: ignore[arg-type]


def test_hot_sake_and_a_hot_starter_scald() -> None:
    """While they are heated the caution is of scalds and vapour, not of carbonic gas."""
    heated = told("cold", "tank", value=58.0, planned=65.0)
    assert "scalds" in heated.caution and "no flame" in heated.caution
    assert "scalds" not in told(value=10.9, planned=10.3).caution


def test_the_difference_is_that_of_the_figures_shown() -> None:
    """10.9 beside a plan of 10.3 is +0.6 on the paper, whatever the hundredths say."""
    assert "+0.6: 10.9 °C (plan 10.3)" in told(value=10.94, planned=10.26).title


@pytest.mark.parametrize(("batch", "shown"), [("12", "Batch 12."), ("R8 No. 3", "Batch R8 No. 3.")])
def test_a_batch_is_named_as_the_house_names_it(batch: str, shown: str) -> None:
    """Numbers and names both."""
    assert told(batch=batch).body.startswith(shown)


def test_a_stage_is_told_in_the_language_that_there_is() -> None:
    """A course written in one language only is still told."""
    assert pick({"ja": "留"}, "en") == "留"
    assert pick({}, "en") is None


def test_the_name_of_the_one_who_has_the_cooler_is_told() -> None:
    """The brewer sees that maintenance is on its way, or that nobody is."""
    trouble: dict[str, object] = {"cooler": "Chiller 1", "cooler_trouble": ("stopped", SPEECH.at)}
    assert "Ken has it" in told(**trouble, cooler_in_hand="Ken").body
    assert "nobody has it" in told(**trouble).body


@pytest.mark.parametrize("condition", ["warm", "cold", "cooling"])
def test_time_in_a_timeline_line_is_not_counted_down(condition: str) -> None:
    """Hours left are old once they are read in a list."""
    alarm = told(condition, value=10.9, planned=10.3, hours_left=(3.0, 4.0))
    assert "about" not in alarm.still


def test_a_forecast_beyond_a_day_gives_no_clock_time() -> None:
    """What lies days ahead is not told to the minute."""
    body = told(rate=0.02, limit=11.3, hours_left=(20.0, 90.0)).body
    assert "Up 0.02 °C/h." in body


def test_rooms_and_stores_are_told_without_lids() -> None:
    """A caution that does not belong to the work dulls those that do."""
    assert "Lid" not in told("warm", "cold-store").body
    assert "Lid" in told("warm", "starter").body
    assert "scalds" in told("cold", "starter").body


@pytest.mark.parametrize(("hours", "warned"), [(1, True), (11.9, True), (12.1, False)])
def test_where_alcohol_went_in_fire_is_kept_away(hours: float, warned: bool) -> None:
    """The caution of the work comes first, that of the spirit after it."""
    body = told(last_work=("alcohol", SPEECH.at - hours * HOUR)).body
    assert ("Spirit and its vapour burn" in body) == warned and "Lid shut" in body
    assert "Spirit" not in told(last_work=("rice", SPEECH.at - HOUR)).body


def test_nobody_goes_into_a_dark_cellar_unmeasured() -> None:
    # Ordinance on Prevention of Anoxia (Japan), art. 2 (from memory): below 18 % is deficient
    assert "below 18 % stay out" in told("dark", "watch").body


def test_a_field_without_text_is_unknown() -> None:
    """An empty text is as good as none."""
    assert known(a="", b=None, c="x") == {"c": "x"}


def test_only_what_is_about_the_plan_carries_the_difference() -> None:
    """In a list of alarms "not measured +0.2" would say nothing."""
    assert told("warm", value=10.9, planned=10.3).brief == "Tank 3 warm +0.6"
    assert told("unwatched", value=10.5, planned=10.3).brief == "Tank 3 not measured"
