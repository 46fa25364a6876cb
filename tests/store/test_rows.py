from __future__ import annotations

import msgspec
import pytest

from kuraban.core.entries import KINDS, Duration, Entry, Moment, Plan, read_entry
from kuraban.core.facts import Logged
from kuraban.errors import JournalError
from kuraban.store import rows
from tests.store.nights import EVENING, logged

FIELDS: dict[str, object] = {
    "batch": "No. 12", "course": "slow", "stage": "soe", "celsius": 9.5, "by": EVENING,
    "points": [[EVENING, 9.5]], "for": "90m", "more": 0.3, "to": "tank-4", "into": "tank-4",
    "what": "rice", "cooler": "chiller-1", "condition": "warm", "alarm": "tank-3/warm",
    "was": "right", "of": "e1", "text": "foam is high", "fields": {"for": "20m"},
}  # fmt: skip

OWN: dict[str, dict[str, object]] = {
    "duty-swap": {"from": "aki", "to": "sho", "day": "2026-02-01"},
    "press": {"to": ["tank-4", "tank-5"]},
    "split": {"to": ["tank-4", "tank-5"]},
    "cask-in": {"what": "warm"},
    "cask-out": {"what": "cold"},
}


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_of_entry_comes_back_as_it_was_made(kind: str) -> None:
    """Times and durations too, to the last bit."""
    entry: Entry = read_entry({"entry": kind, **FIELDS, **OWN.get(kind, {})})
    fact = Logged("e7", "tank-3", entry, EVENING, EVENING + 1, "aki", "page", 10.4)
    row = rows.entry_row(1, fact)
    _, id_, subject, named, _, at, received, who, way, seen, body = row
    assert named == kind
    assert rows.to_logged((id_, subject, body, at, received, who, way, seen)) == fact


@pytest.mark.parametrize("seconds", [0.0, 0.1, 1234567.125, 43200.0])
def test_a_duration_is_kept_exactly(seconds: float) -> None:
    """Whatever a person wrote, the replay counts the same seconds."""
    entry = read_entry({"entry": "hold", "for": "1d"})
    entry = msgspec.structs.replace(entry, for_=Duration(seconds))
    body = rows.entry_row(1, logged("e1", entry))[-1]
    back = rows.to_logged(("e1", "tank-3", body, EVENING, EVENING, None, "page", None)).entry
    assert back == entry and type(back.for_) is Duration  # type: ignore[union-attr]


def test_a_moment_stays_a_moment() -> None:
    """A plan's times are times after the journal as before it."""
    entry = read_entry({"entry": "stage", "stage": "soe", "since": EVENING + 0.001})
    body = rows.entry_row(1, logged("e1", entry))[-1]
    back = rows.to_logged(("e1", "tank-3", body, EVENING, EVENING, None, "page", None)).entry
    assert type(back.since) is Moment  # type: ignore[union-attr]
    assert back == entry


def test_an_entry_that_is_none_any_more_is_named() -> None:
    """A body somebody wrote over is said by its id and place, and what to do about it."""
    row = ("e1", "tank-3", '{"entry":"dance"}', EVENING, EVENING, None, "page", None)
    with pytest.raises(JournalError, match=r"entry e1 of tank-3.*restore it"):
        rows.to_logged(row)


def test_minus_nothing_is_nothing() -> None:
    """The one number that the file cannot keep is made plain before it is hashed."""
    row = rows.entry_row(1, Logged("e1", "tank-3", logged("e1").entry, 0, -0.0, seen=-0.0))
    assert [repr(number) for number in (row[5], row[6], row[9])] == ["0.0", "0.0", "0.0"]


def test_a_time_is_read_as_it_was_written() -> None:
    """An earlier door took a year 6026, whose seconds look like milliseconds: it is read all the
    same, since what was taken once is not judged again."""
    far = Plan(points=((Moment(EVENING), 12.0), (Moment(1.28e11), 12.0)))
    body = rows.entry_row(1, logged("e1", far))[-1]
    back = rows.to_logged(("e1", "tank-3", body, EVENING, EVENING, None, "page", None)).entry
    assert back == far


@pytest.mark.parametrize("moment", ["9e11", '"2026-02-01T00:00:00Z"', "null"])
def test_a_time_that_no_calendar_shows_is_not_read(moment: str) -> None:
    body = f'{{"entry":"aim","celsius":9.5,"by":{moment}}}'
    with pytest.raises(JournalError, match="entry e1 of tank-3"):
        rows.to_logged(("e1", "tank-3", body, EVENING, EVENING, None, "page", None))


def test_a_row_that_cannot_be_read_is_told_once(caplog: pytest.LogCaptureFixture) -> None:
    """The others are read; the log has one word of it, not one at every look."""
    good = ("e2", "tank-3", '{"entry":"stir"}', EVENING, EVENING, None, "page", None)
    bad = ("bad-once", "tank-3", '{"entry":"dance"}', EVENING, EVENING, None, "page", None)
    for _ in range(3):
        assert [one.id for one in rows.readable(rows.to_logged, [bad, good])] == ["e2"]
    (told,) = caplog.messages
    assert "entry bad-once of tank-3" in told and "journal verify" in told
