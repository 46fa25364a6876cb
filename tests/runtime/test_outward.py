"""What leaves the house beside the words: pictures with rings, swaps that count, a sign of life."""

from __future__ import annotations

import base64
import dataclasses
import json
from collections.abc import Iterator
from pathlib import Path

import pytest

from kuraban.settings import Outward
from tests.broker import Mosquitto
from tests.edges.test_ping import FarEnd, until
from tests.nights import Evening, messages
from tests.sink import Sink

PNG = b"\x89PNG\r\n\x1a\n"


@pytest.fixture
def far() -> Iterator[FarEnd]:
    end = FarEnd()
    yield end
    end.server.shutdown()
    end.server.server_close()


def test_a_tanks_ring_brings_its_curve(broker: Mosquitto, sink: Sink, tmp_path: Path) -> None:
    """With the text, or after it where the first drawing takes its time."""
    lines = messages("slow-drift")
    tonight = Evening(broker, sink, tmp_path / "data", lines[0].at)
    with tonight.watching() as watch:
        tonight.play(watch, lines)
        tonight.catch_up(watch)
        assert until(lambda: bool(sink.attached), 15)
    tonight.close()
    for attached in sink.attached:
        assert base64.b64decode(attached[0]["base64"]).startswith(PNG)
    assert not sink.wrong


def test_a_swap_that_was_entered_rings_the_other(
    broker: Mosquitto, sink: Sink, tmp_path: Path
) -> None:
    lines = messages("slow-drift")
    tonight = Evening(broker, sink, tmp_path / "data", lines[0].at)
    day = "2026-02-10"
    with tonight.watching() as watch:
        swap = {"entry": "duty-swap", "from": "aki", "to": "mio", "day": day, "role": "brewer"}
        tonight.publisher.publish("kura/log/watch", json.dumps(swap))
        tonight.catch_up(watch)
        manned = watch.engine.view.entry_log.manned
        assert [(swap.first, swap.second, swap.day) for swap in manned.swaps] == [
            ("aki", "mio", day)
        ]
    tonight.close()


def test_the_sign_of_life_goes_out_while_the_watch_is_well(
    broker: Mosquitto, sink: Sink, far: FarEnd, tmp_path: Path
) -> None:
    """And stops with it."""
    lines = messages("slow-drift")
    tonight = Evening(broker, sink, tmp_path / "data", lines[0].at)
    tonight.settings = dataclasses.replace(tonight.settings, outward=Outward(far.url, 0.1))
    with tonight.watching() as watch:
        assert far.counts(3)
        assert watch._door.connected
    calls = len(far.calls)
    assert not far.counts(calls + 2, within=0.5)
    tonight.close()
