"""`kuraban rehearse`: the same nights with other tolerances, side by side."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from kuraban.cli import rehearse
from kuraban.core import entries as e
from kuraban.core.effects import Turn
from kuraban.core.facts import Logged
from kuraban.core.units import HOUR
from kuraban.store.journal import Journal
from tests.cli.conftest import SITE, Type
from tests.journals import live_through, recording

NIGHT = recording("slow-drift")
DELAYED = ("--with", "delay=+30m")


def test_a_night_is_shown_by_person_by_condition_and_ring_by_ring(type_in: Type) -> None:
    shown = type_in("rehearse", "--site", SITE, *DELAYED, NIGHT)
    assert shown.exit_code == 0
    people, conditions, summary, rings = shown.stdout.split("\n\n")
    assert people.startswith("person") and "\nAki " in people
    assert "\nwarm " in conditions
    assert "Called needless by the crew: 0 as it is" in summary
    assert "Tank 2" in rings and "30 min later" in rings
    assert "played twice" in shown.stderr


def test_all_of_it_as_json(type_in: Type) -> None:
    shown = type_in("rehearse", "--site", SITE, *DELAYED, NIGHT, "--json")
    told = json.loads(shown.stdout)
    (ring,) = told["differing"]
    assert (ring["subject"], ring["condition"]) == ("tank-2", "warm")
    assert ring["later_seconds"] == pytest.approx(1800, abs=60)
    assert told["people"]["aki"]["rings"][0] > 0
    assert told["conditions"] == {"warm": [1, 1]}


def test_several_variants_are_shown_one_after_the_other(type_in: Type) -> None:
    words = ("rehearse", "--site", SITE, *DELAYED, "--or", "tolerance=+1 limit=+1", NIGHT)
    shown = type_in(*words)
    delayed, wider = shown.stdout.split("With ")[1:]
    assert delayed.startswith("delay=+30m:") and "30 min later" in delayed
    assert wider.startswith("tolerance=+1, limit=+1:") and "not told" in wider
    assert "played 3 times" in shown.stderr
    told = json.loads(type_in(*words, "--json").stdout)["variants"]
    assert [one["with"] for one in told] == [["delay=+30m"], ["tolerance=+1", "limit=+1"]]
    assert type_in("rehearse", "--site", SITE, "--or", "delay=+30m", NIGHT).exit_code == 0


def test_without_a_recording_the_journal_is_played(
    tmp_path: Path, site: Path, type_in: Type, monkeypatch: pytest.MonkeyPatch
) -> None:
    """And it says the very same as the recording of the night that it lived through."""
    (tmp_path / "data").mkdir(exist_ok=True)
    told = live_through("slow-drift", tmp_path / "data" / "kuraban.journal")
    monkeypatch.setattr(rehearse, "clock", lambda: told[-1].at)
    words = ("rehearse", "--site", site, *DELAYED, "--json")
    from_journal = json.loads(type_in(*words).stdout)
    from_file = json.loads(type_in(*words, NIGHT).stdout)
    assert from_journal["differing"] == from_file["differing"]
    assert from_journal["people"] == from_file["people"]


def test_a_verdict_in_the_journal_is_counted(
    tmp_path: Path, site: Path, type_in: Type, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "data").mkdir(exist_ok=True)
    journal = tmp_path / "data" / "kuraban.journal"
    at = live_through("slow-drift", journal)[-1].at + 3 * HOUR
    said = Logged("v", "tank-2", e.Verdict(alarm="tank-2/warm", was="right"), at, at)
    kept = Journal.open(journal)
    kept.commit(Turn(now=at, facts=[said]))
    kept.close()
    monkeypatch.setattr(rehearse, "clock", lambda: at)
    shown = type_in("rehearse", "--site", site, "--with", "tolerance=2", "--since", "-12h")
    assert "Real drifts told, by verdict or past their limit: 1; 1 not told at all" in shown.stdout


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ((NIGHT,), "--with: nothing is changed"),
        (("--with", "tolerane=1", NIGHT), 'did you mean "tolerance"?'),
        ((*DELAYED, "no-such.jsonl"), "no-such.jsonl"),
        ((*DELAYED, NIGHT, "--since", "soon"), "--since"),
    ],
)
def test_what_cannot_be_used_is_one_line(
    words: tuple[object, ...], told: str, type_in: Type
) -> None:
    shown = type_in("rehearse", "--site", SITE, *words)
    assert shown.exit_code == 2
    assert told in shown.stderr and shown.stderr.count("\n") == 1


def test_where_nothing_was_watched_yet_it_says_so(site: Path, type_in: Type) -> None:
    shown = type_in("rehearse", "--site", site, *DELAYED)
    assert shown.exit_code == 3
    assert "there is no journal" in shown.stderr


def test_the_score_card_needs_a_checkout(
    tmp_path: Path, type_in: Type, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(rehearse, "CHECKOUT", tmp_path)
    shown = type_in("rehearse", "--score")
    assert shown.exit_code == 2
    assert "run it from a checkout" in shown.stderr


def test_the_score_card_of_one_seed(type_in: Type) -> None:
    """The watch and two plain alarms beside it, each tank-night counted."""
    shown = type_in("rehearse", "--score", "--nights", 1, "--seed", 1000)
    assert shown.exit_code == 0
    assert shown.stdout.startswith("20 tank-nights, seeds 1000 to 1000, January and April cellars")
    assert "fixed limit, 20 min" in shown.stdout
