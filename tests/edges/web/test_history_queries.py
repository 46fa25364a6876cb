"""What lies behind a place, as the journal tells it."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from kuraban.core import entries as e
from kuraban.core.facts import Logged
from kuraban.core.units import DAY, HOUR, MINUTE
from kuraban.core.views.snapshot import PlanLine
from kuraban.edges.web import history_queries as past
from kuraban.edges.web.history_queries import Done, Measured
from kuraban.store.history import History
from tests.edges.web.served import Served


@pytest.fixture
def history(lived: Served) -> Iterator[History]:
    with past.reading(lived.path) as history:
        yield history


def logged(id_: str, entry: e.Entry, at: float) -> Logged:
    return Logged(id_, "tank-3", entry, at, at)


def test_the_curve_of_a_tank_is_the_median_of_its_probes(lived: Served, history: History) -> None:
    """Tank 1 has two: the step holds the middle of both."""
    end = lived.clock()
    points = past.curve(history, lived.settings.house, "tank-1", end - HOUR, end, 10 * MINUTE)
    upper = [v for _, v in history.readings("t1-upper", end - HOUR, end)]
    lower = [v for _, v in history.readings("t1-lower", end - HOUR, end)]
    assert 6 <= len(points) <= 7
    assert min(lower) <= points[-1].value <= max(upper)


def test_a_room_shows_its_air(lived: Served, history: History) -> None:
    """Where no probe measures product."""
    end = lived.clock()
    assert past.curve(history, lived.settings.house, "cellar", end - HOUR, end, 600.0)


def test_a_gap_stays_a_gap(lived: Served, history: History) -> None:
    """Nothing is read before the night began, and nothing is made up."""
    end = lived.clock()
    points = past.curve(history, lived.settings.house, "tank-3", end - DAY, end, 600.0)
    assert points[0].at > end - 8 * HOUR
    assert all(
        row.measured is None
        for row in past.table(points, None, (), end - DAY, end - 9 * HOUR, HOUR)
    )


@pytest.mark.parametrize(
    ("hours", "most", "step"), [(24, 48, 1800), (1, 48, 120), (720, 48, 86400)]
)
def test_steps_are_even_and_few(hours: float, most: int, step: float) -> None:
    """A table can be read on a phone."""
    assert past.step_for(hours * HOUR, most) == step


def test_since_a_stir_lowest_highest_and_slope() -> None:
    """A steady rise of 0.2 °C an hour is told as that."""
    points = [Measured(60.0 * n, 10.0 + 0.2 * n / 60) for n in range(181)]
    since = past.since(points, 0.0)
    assert since is not None and since.slope is not None
    assert (since.lowest, since.highest) == (10.0, pytest.approx(10.6))
    assert since.slope == pytest.approx(0.2)
    assert past.since(points, 20_000.0) is None


def test_too_little_makes_no_slope() -> None:
    """Ten minutes after a stir nobody knows."""
    since = past.since([Measured(60.0 * n, 10.0) for n in range(10)], 0.0)
    assert since is not None and since.slope is None


def test_a_table_tells_measured_plan_and_what_was_done() -> None:
    """Newest first; an entry taken back is not in it."""
    plan = PlanLine(points=((0.0, 10.0), (7200.0, 12.0)))
    stirred, back = logged("a", e.Stir(), 4000.0), logged("b", e.Stir(), 100.0)
    rows = past.table(
        [Measured(3600.0, 11.4)], plan, [Done(stirred, "counted"), Done(back, "taken-back")],
        0.0, 7000.0, 3600.0,
    )  # fmt: skip
    assert [row.at for row in rows] == [3600.0, 0.0]
    assert rows[0].difference == pytest.approx(-0.1)
    assert [row.did for row in rows] == [(stirred,), ()]


def test_an_export_in_pieces_is_the_whole(
    lived: Served, history: History, monkeypatch: pytest.MonkeyPatch
) -> None:
    """In the same order, also where a piece ends between days, and nothing twice."""
    monkeypatch.setattr(past, "PIECE", 7)
    start, end = lived.clock() - 3 * DAY, lived.clock()
    whole = list(history.graded("t3-mid", start, end))
    assert len(whole) > 100
    assert list(past.graded(lived.path, "t3-mid", start, end)) == whole
    assert list(past.graded(lived.path, "t3-mid", end, start)) == []


def test_values_of_one_moment_are_in_one_piece(monkeypatch: pytest.MonkeyPatch) -> None:
    """As where a summary and a reading meet: the next piece begins after them."""
    monkeypatch.setattr(past, "PIECE", 2)
    rows = [(at, float(n), 0) for n, at in enumerate((1.0, 2.0, 2.0, 2.0, 3.0))]

    class Kept:
        def graded(self, probe: str, start: float, end: float) -> list[past.Graded]:
            return [row for row in rows if start <= row[0] < end]

    assert past._piece(Kept(), "t", 0.0, 9.0) == (rows[:4], 3.0)  # type: ignore[arg-type]
    assert past._piece(Kept(), "t", 3.0, 9.0) == (rows[4:], 9.0)  # type: ignore[arg-type]


def test_a_take_back_of_a_take_back_counts_again(served: Served) -> None:
    """As in the watch's own books; corrections themselves are not among what was done."""
    now = served.clock()
    for number, entry in enumerate((e.Stir(), e.TakeBack(of="n0"), e.TakeBack(of="n1"))):
        served.submit(Logged(f"n{number}", "tank-3", entry, now, now, "aki"))
        with past.reading(served.path) as history:
            (done,) = past.done(history, "tank-3", now, now + 1)
        assert (done.counts, done.back, done.gone) == (number != 1, number == 1, number == 1)


def test_what_waits_or_was_refused_is_told_so(served: Served) -> None:
    """With the reason; it is not among what was done in the table."""
    now = served.clock()
    served.submit(Logged("w", "tank-3", e.StageMark(stage="soe"), now, now, "mio"))
    served.submit(Logged("r", "tank-3", e.BatchStart(batch="x", course="night-slow"), now, now))
    with past.reading(served.path) as history:
        waits, refused = past.done(history, "tank-3", now, now + 1)
    assert (waits.fate, waits.counts, waits.gone) == ("waiting", False, False)
    assert (refused.fate, refused.counts, refused.gone) == ("refused", False, True)
    assert "runs in tank-3; log its batch-end first" in refused.reason
    rows = past.table([], None, [waits, refused], now - 1, now + 1, 3600.0)
    assert not any(row.did for row in rows)


def test_entries_of_the_night_are_there(lived: Served, history: History) -> None:
    """Tank 1 was started and stirred."""
    done = past.done(history, "tank-1", lived.clock() - DAY, lived.clock())
    assert [type(one.logged.entry).__name__ for one in done] == ["BatchStart", "Stir"]


def test_a_ring_is_told_from_raised_to_over(lived: Served, history: History) -> None:
    """Tank 5 woke Aki, who answered, and it came back."""
    rings = past.rings(history, lived.clock() - DAY, lived.clock())
    warm = next(ring for ring in rings if ring.alarm == "tank-5/warm")
    assert warm.people == ("aki",)
    assert warm.answered is not None and warm.answered[1] == "aki"
    assert warm.over is not None and warm.over > warm.answered[0] > warm.at
    assert [ring.at for ring in rings] == sorted((ring.at for ring in rings), reverse=True)


def test_a_verdict_stays_with_its_ring(served: Served) -> None:
    """Right, needless or late, as the brewer said."""
    verdict = e.Verdict(alarm="tank-5/warm", was="right")
    now = served.clock()
    served.submit(Logged("v", "tank-5", verdict, now, now, by="aki"))
    with past.reading(served.path) as history:
        rings = past.rings(history, now - DAY, now + 1)
    assert {ring.verdict for ring in rings if ring.alarm == "tank-5/warm"} == {"right"}
    assert {ring.verdict for ring in rings if ring.alarm != "tank-5/warm"} == {None}
