"""What waits is bounded in bytes, and whoever sends much waits for whoever sends little."""

from __future__ import annotations

import time

import pytest

from kuraban.edges.mqtt import fair_queue
from kuraban.edges.mqtt.fair_queue import LEVEL_FOR, TURN, WEIGHT, Arrived, FairQueue


def message(topic: str, mid: int, size: int = 10) -> Arrived:
    return Arrived(topic, b"x" * size, float(mid), False, 1, mid, 1)


def filled(*messages: Arrived, size: int = fair_queue.BYTES, count: int = 100) -> FairQueue:
    queue = FairQueue(str, count, size)
    for one in messages:
        queue.put(one)
    return queue


def test_what_fits_into_a_turn_is_handed_out_as_it_came() -> None:
    came = [message("loud" if n % 3 else "quiet", n) for n in range(30)]
    queue = filled(*came)
    assert queue.take(50) == came and not queue.left and len(queue) == queue.bytes == 0


def test_quiet_probes_overtake_the_backlog_of_a_noisy_one() -> None:
    """And within a line the order holds."""
    loud = [message("loud", n) for n in range(80)]
    quiet = [message("quiet", 100 + n) for n in range(3)]
    queue = filled(*loud, *quiet)
    first = queue.take(10)
    assert first[:3] == quiet and queue.left
    told = [*first[3:], *queue.take(1000)]
    assert told == loud


def test_a_turn_is_bounded_in_bytes() -> None:
    queue = filled(*(message("loud", n, 100_000) for n in range(20)))
    taken = queue.take(500)
    assert 0 < sum(len(one.payload) for one in taken) <= TURN + 100_000


def test_it_is_full_by_bytes_as_by_messages() -> None:
    assert filled(message("a", 1, 5000), size=5000).full
    assert filled(*(message("a", n) for n in range(100))).full
    assert not filled(message("a", 1)).full


def caught_up(queue: FairQueue, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing waited for long enough: what fills the queue from now on is no backlog."""
    now = time.monotonic()
    queue.take(1)
    monkeypatch.setattr(fair_queue.time, "monotonic", lambda: now + 2 * LEVEL_FOR)
    queue.take(1)


def test_what_waited_while_the_watch_was_away_is_not_cut() -> None:
    queue = filled(*(message("loud", n) for n in range(100)))
    queue.cut()
    assert queue.cuts() == [] and len(queue) == 100


def test_a_cut_frees_half_and_the_noisy_line_loses_its_oldest(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    loud = [message("loud", n) for n in range(98)]
    quiet = [message("quiet", 200 + n) for n in range(2)]
    queue = filled()
    caught_up(queue, monkeypatch)
    for one in [*quiet, *loud]:
        queue.put(one)
    queue.cut()
    (cut,) = queue.cuts()
    assert len(queue) <= 50 and cut.line == "loud"
    assert list(cut.mids[1]) == list(range(cut.count)), "answered once the count is written"
    assert queue.cuts() == []
    kept = queue.take(1000)
    assert kept[:2] == quiet, "who sends little loses nothing"


def test_what_could_not_be_judged_comes_first_the_next_time() -> None:
    came = [message("a", n) for n in range(6)]
    queue = filled(*came)
    taken = queue.take(6)
    queue.give_back(taken[2:])
    assert queue.left and queue.bytes == 4 * (10 + WEIGHT)
    assert queue.take(6) == came[2:]


def test_a_backlog_of_equals_is_caught_up_with_in_its_order() -> None:
    """No line has much more than the others, so nobody need look through all that waits."""
    came = [message(f"probe-{n % 7}", n) for n in range(90)]
    queue = filled(*came)
    first = queue.take(20)
    assert first == came[:20] and queue.left
    queue.give_back(first[15:])
    assert queue.take(30) == came[15:45]
    assert queue.take(1000) == came[45:] and len(queue) == queue.bytes == 0


def test_an_hourly_probe_overtakes_two_that_flood_among_ten() -> None:
    noisy = [message(f"loud-{n % 2}", n) for n in range(80)]
    calm = [message(f"probe-{n}", 100 + n) for n in range(8)]
    assert filled(*noisy, *calm).take(12)[:8] == calm


def test_the_backlog_names_whose_most_of_it_is() -> None:
    assert FairQueue(str).backlog() is None
    told = filled(message("a", 3), message("b", 5, 900)).backlog()
    assert told is not None and (told.messages, told.oldest, told.most) == (2, 3.0, "b")
