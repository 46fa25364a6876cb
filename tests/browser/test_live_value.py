"""From a probe's message at the broker to the page that lies open on a phone."""

from __future__ import annotations

import dataclasses
import time
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

import httpx
import pytest
from playwright.sync_api import Page

from kuraban.core.facts import Reading
from kuraban.core.probes.probe_state import ProbeState
from kuraban.runtime.watch import Watch
from kuraban.settings import Web
from kuraban.settings.catalogues import load_words
from tests.broker import Mosquitto, free_port
from tests.browser.conftest import Open
from tests.nights import Publisher, Running, settings, wait
from tests.sink import Sink
from tests.stopwatch import Stopwatch

WITHIN = 2.0
"""Seconds from the publish to the page."""
BEFORE = (10.0, 10.1, 10.2, 10.3, 10.4, 10.5, 10.6)
VALUES = (10.7, 10.8, 10.9, 11.0)
"""A rise that is no step: each reading moves the product, which is the middle of the last few."""
APART = 1.3
"""Seconds between two values: they meet the pages at another moment of their second each time."""
BATCH = '{"entry": "batch-start", "batch": "12", "course": "night-ordinary", "id": "12"}'
SHOWN = "value => document.querySelector('.now').innerText.includes(value)"


class Alive(NamedTuple):
    """`sense` hears what the watch hears: it knows the product that a reading makes."""

    at: str
    probe: Publisher
    probe_state: ProbeState

    def say(self, value: float) -> str:
        """Publish a reading; the product that it makes, as a page writes it."""
        self.probe.publish("kura/reading/t3-mid", str(value))
        now = time.time()
        self.probe_state.hear(Reading("t3-mid", now, value, now))
        assert self.probe_state.value is not None
        return f"{self.probe_state.value:.1f}"


@pytest.fixture(scope="module")
def alive(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Alive]:
    """A watch with its pages at a real broker; a batch runs in tank 3, whose probe may speak."""
    folder, port = tmp_path_factory.mktemp("alive"), free_port()
    with Mosquitto(folder) as broker, Sink() as sink:
        running = Running(_watch(broker, sink, folder / "data", port))
        crew, probe = Publisher(broker.port, "crew"), Publisher(broker.port, "t3-mid")
        try:
            wait(lambda: running.watch._door.connected or running.error is not None)
            crew.publish("kura/log/tank-3", BATCH)
            house = running.watch.settings.house
            known = Alive(f"http://127.0.0.1:{port}", probe, ProbeState(house.probe["t3-mid"]))
            shown = [known.say(value) for value in BEFORE][-1]
            wait(lambda: _serves(f"{known.at}/place/tank-3", shown), 30)
            yield known
        finally:
            crew.close()
            probe.close()
            running.stop()


def _watch(broker: Mosquitto, sink: Sink, data: Path, port: int) -> Watch:
    own = dataclasses.replace(settings(broker, sink, data), web=Web(port=port))
    return Watch(own, load_words())


def _serves(address: str, what: str) -> bool:
    try:
        return what in httpx.get(address).text
    except httpx.TransportError:
        return False


def test_a_value_is_in_the_open_page_within_two_seconds_of_its_publish(
    alive: Alive, open_: Open
) -> None:
    """Through the broker, the watch, the process of the pages and the browser: every value."""
    page = open_(f"{alive.at}/place/tank-3")
    took = [_seconds(alive, page, value) for value in VALUES]
    assert max(took) < WITHIN, took


def _seconds(alive: Alive, page: Page, value: float) -> float:
    """From the publish to the figure, which was another one before."""
    time.sleep(APART)
    before, took = page.inner_text(".now"), Stopwatch()
    shown = alive.say(value)
    assert shown not in before
    page.wait_for_function(SHOWN, arg=shown, polling=20)
    return took.read()
