"""Each thing that people do has one structure."""

from __future__ import annotations

import json

import msgspec
import pytest

from kuraban.core.entries import (
    BY_KIND,
    KINDS,
    Duration,
    Entry,
    Moment,
    kind_of,
    read_entry,
    read_special,
)
from kuraban.core.intake.entry_validation import SUBJECTS
from tests.corpus import ENTRIES


def test_every_kind_has_a_good_example_and_a_subject() -> None:
    told = [json.loads(payload)["entry"] for _, payload in ENTRIES]
    assert sorted(told) == sorted(KINDS) == sorted(SUBJECTS)


@pytest.mark.parametrize("payload", [payload for _, payload in ENTRIES])
def test_an_entry_is_what_it_calls_itself(payload: bytes) -> None:
    fields = json.loads(payload)
    entry = read_entry(fields)
    assert kind_of(entry) == fields["entry"] and isinstance(entry, BY_KIND[fields["entry"]])
    assert read_entry(fields) == entry


def test_durations_and_times_become_seconds() -> None:
    entry = read_entry({"entry": "stage", "stage": "odori", "since": "2026-02-01T03:10:00+09:00"})
    assert entry == BY_KIND["stage"](stage="odori", since=Moment(1769883000.0))
    quiet = read_entry({"entry": "let-run", "for": "90m", "more": 0.5})
    assert quiet == BY_KIND["let-run"](for_=Duration(5400.0), more=0.5)


def test_an_aim_is_shifted_unless_it_says_otherwise() -> None:
    aim = {"entry": "aim", "celsius": 9.5, "by": 1769990000}
    assert getattr(read_entry(aim), "then") == "shift"  # noqa: B009
    with pytest.raises(msgspec.ValidationError, match="Invalid enum value"):
        read_entry({**aim, "then": "up"})


@pytest.mark.parametrize(
    "fields",
    [
        {"entry": "aim", "celsius": 111, "by": 1769990000},
        {"entry": "addition", "what": "rice", "kg": 0},
        {"entry": "addition", "what": "rice", "kg": float("nan")},
        {"entry": "sample", "smv": 51},
        {"entry": "plan", "points": []},
        {"entry": "note", "text": "x" * 201},
        {"entry": "split", "to": []},
        {"entry": "verdict", "alarm": "tank-3/warm", "was": "so-so"},
        {"entry": "hold"},
        {"entry": "dance"},
        {},
        [],
    ],
)
def test_what_no_brewer_can_mean_is_refused(fields: object) -> None:
    with pytest.raises(msgspec.ValidationError):
        read_entry(fields)


def test_an_entry_cannot_be_changed_once_made() -> None:
    entry: Entry = read_entry({"entry": "note", "text": "frost"})
    with pytest.raises(AttributeError):
        entry.text = "thaw"  # type: ignore[union-attr,misc]


def test_only_durations_and_times_have_a_spelling_of_their_own() -> None:
    with pytest.raises(TypeError, match="no spelling"):
        read_special(complex, "1j")


@pytest.mark.parametrize("year", ["6026", "9999", "2100", "2019", "0026"])
@pytest.mark.parametrize(
    "fields",
    [
        {"entry": "plan", "points": [["2026-12-01T00:00:00+09:00", 12], ["Y-12-01T00:00:00Z", 12]]},
        {"entry": "aim", "celsius": 9.5, "by": "Y-12-01T00:00:00Z"},
        {"entry": "stage", "stage": "odori", "since": "Y-12-01T00:00:00Z"},
        {"entry": "batch-start", "batch": "12", "course": "slow", "since": "Y-12-01T00:00:00Z"},
    ],
)
def test_a_year_that_was_mistyped_is_refused(year: str, fields: object) -> None:
    """Also one so far that its seconds look like milliseconds."""
    told = json.loads(json.dumps(fields).replace("Y-12", f"{year}-12"))
    with pytest.raises(
        msgspec.ValidationError, match="before 2020 or after 2099; look at its year"
    ):
        read_entry(told)
