"""A broker, phones, and evenings in which the whole watch runs."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tests.broker import Mosquitto
from tests.nights import QUICK, Evening
from tests.sink import Sink


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Mosquitto]:
    with Mosquitto(tmp_path, without=QUICK) as running:
        yield running


@pytest.fixture
def sink() -> Iterator[Sink]:
    with Sink() as running:
        yield running


@pytest.fixture
def evening(
    broker: Mosquitto, sink: Sink, tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> Iterator[Callable[..., Evening]]:
    """Makes evenings that begin at a moment, and ends them; no fault of ours may come about."""
    made: list[Evening] = []

    def begin(start: float, data: Path = tmp_path / "data") -> Evening:
        made.append(Evening(broker, sink, data, start))
        return made[-1]

    yield begin
    for one in made:
        one.close()
    assert "a fault of ours" not in caplog.text
