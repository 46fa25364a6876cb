"""One recorded night through two cores: what would have been told otherwise."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator
from typing import Any

import pytest

from kuraban.core.site import to_document
from kuraban.core.units import HOUR, MINUTE
from kuraban.recording import Recorded
from kuraban.rehearse import Rehearsal, read_changes
from kuraban.rehearse.play import compared, play
from tests.core.house import DUSK, brewery, words

WARM = 10.7
"""Where tank 3 comes to stand: 0.2 K outside its tolerance, within its limit."""


def entry(at: float, subject: str, **fields: Any) -> Recorded:
    return Recorded(at, f"kura/log/{subject}", json.dumps(fields).encode(), False)


def drift(hours: float = 8.0, to: float = WARM) -> Iterator[Recorded]:
    """Tank 3 at its plan for two hours, then half a degree warmer every hour."""
    start = {"entry": "batch-start", "batch": "3", "course": "mash", "stage": "main", "id": "s"}
    yield entry(DUSK, "tank-3", **start, since=DUSK - 86400.0)
    for minute in range(int(hours * 60)):
        at = DUSK + minute * MINUTE
        value = min(10.0 + max(minute - 120, 0) / 120, to) + 0.02 * (minute % 2)
        yield Recorded(at + 1, "kura/reading/t3-mid", f"{value:.2f}".encode(), False)
        yield Recorded(at + 2, "kura/reading/s-air", b"%.2f" % (5 + 0.02 * (minute % 2)), False)


def otherwise(
    *texts: str,
    night: Iterator[Recorded] | None = None,
    since: float = -math.inf,
    until: float | None = None,
) -> Rehearsal:
    house, messages = brewery(), list(drift() if night is None else night)
    was, other = (
        play(house, "kura", words(), messages, changes, until=until)
        for changes in ((), read_changes(texts, house))
    )
    return compared(house, was, other, since)


def test_a_longer_delay_tells_the_same_drift_later() -> None:
    done = otherwise("delay=90m")
    (pair,) = done.differing
    assert (pair.spell.subject, pair.spell.condition) == ("tank-3", "warm")
    assert pair.later == pytest.approx(30 * MINUTE, abs=MINUTE)


def test_a_wider_tolerance_tells_it_not_at_all() -> None:
    done = otherwise("tolerance=0.9")
    (pair,) = done.differing
    assert pair.told[0] is not None and pair.told[1] is None
    assert done.conditions == {"warm": (1, 0)}
    assert {who: rings[1].all for who, rings in done.people.items()} == {"aki": 0, "bun": 0}


def test_nothing_changed_differs_in_nothing() -> None:
    done = otherwise("mash.naka.delay=90m")
    assert done.differing == ()
    assert all(was == other for was, other in done.people.values())


def test_rings_outside_the_duty_hours_are_counted_as_by_night() -> None:
    """It is dusk at 18:00, and told from 22:00 on."""
    (was, _) = otherwise("delay=90m").people["aki"]
    assert was.all == was.by_night > 0


def test_a_rule_that_is_left_out_tells_nobody() -> None:
    done = otherwise("warm=off")
    assert done.conditions == {"warm": (1, 0)}


def test_verdicts_count_the_needless_rings() -> None:
    """One that was taken back counts no more; an amended one says the new."""
    said = entry(DUSK + 8 * HOUR, "tank-3", entry="verdict", alarm="tank-3/warm", was="needless",
                 id="v")  # fmt: skip
    back = entry(DUSK + 8.1 * HOUR, "tank-3", entry="take-back", of="v", id="b")
    new = entry(DUSK + 8.1 * HOUR, "tank-3", entry="amend", of="v", was="late", id="a")
    needless = otherwise("tolerance=0.9", night=iter([*drift(), said]))
    assert needless.needless == {"warm": (1, 0)}
    assert needless.real == ()
    taken = otherwise("tolerance=0.9", night=iter([*drift(), said, back]))
    assert (taken.needless, taken.verdicts) == ({}, 0)
    late = otherwise("tolerance=0.9", night=iter([*drift(), said, new]))
    assert (late.needless, late.untold) == ({}, 1)


def test_how_much_later_a_real_drift_would_be_told() -> None:
    """Past its limit it is real without a word of the crew."""
    done = otherwise("limit_delay=60m", "delay=90m", night=drift(to=11.4))
    assert len(done.real) == 1 and done.untold == 0
    assert done.later == pytest.approx((30 * MINUTE, 30 * MINUTE), abs=MINUTE)


def test_a_house_told_by_the_recording_is_changed_too() -> None:
    """A recording out of a journal brings its houses along."""
    told = Recorded(DUSK, "kura/watch/house", to_document(brewery()).encode(), False)
    done = otherwise("tolerance=0.9", night=iter([told, *drift()]))
    assert done.conditions == {"warm": (1, 0)}


def test_what_was_told_before_the_time_asked_for_does_not_count() -> None:
    answer = entry(DUSK + 5.5 * HOUR, "tank-3", entry="acknowledge", by="aki", id="a")
    night = sorted([*drift(), answer], key=lambda line: line.at)
    done = otherwise("tolerance=0.9", since=DUSK + 6 * HOUR, night=iter(night))
    assert done.differing == ()
    assert done.people == {}


def test_it_stops_at_the_time_asked_for() -> None:
    done = otherwise("tolerance=0.9", until=DUSK + 2.5 * HOUR)
    assert done.end == DUSK + 2.5 * HOUR
    assert done.conditions == {}


def test_nothing_recorded_is_nothing_told() -> None:
    done = otherwise("tolerance=0.9", night=iter(()))
    assert (done.messages, done.pairs, done.people) == (0, (), {})
